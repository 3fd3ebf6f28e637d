"""What the database refuses although no action was asked: raw SQL, on whichever engine this runs.

Each test goes around the actions and names the rule (a trigger or constraint) that stops it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from decimal import Decimal

import pytest
from django.db import IntegrityError, ProgrammingError, connection, transaction

from billing.actions.close_month import close_month
from billing.actions.life_estimates import estimate_part_anew
from billing.actions.payments import record_payment
from billing.actions.price_firing import post_firing_cost
from billing.actions.refunds import refund_share
from billing.models import (
    BillingPolicy,
    CostLine,
    FiringCost,
    JournalEntry,
    LedgerAccount,
    Membership,
    MembershipHolding,
    MonthClose,
    Payment,
    Share,
    Statement,
)
from firings.models import KilnPart
from tests.billing.conftest import Books
from tests.billing.scene import AFTER_MARCH, MARCH, NOON, make_account


def run(sql: str, *parameters: object) -> None:
    with connection.cursor() as cursor:
        cursor.execute(sql, parameters)


def refused(rule: str, sql: str, *parameters: object) -> None:
    """The statement fails, and it fails for this rule."""
    with pytest.raises(IntegrityError, match=rule), transaction.atomic():
        run(sql, *parameters)


def insert_entry(source: str, on: str = "2026-04-05", posted_at: str | None = None) -> str:
    posted = "NULL" if posted_at is None else f"'{posted_at}'"
    return (
        'INSERT INTO billing_journalentry ("on", text, source, reason, written_at, posted_at) '  # noqa: S608
        f"VALUES ('{on}', 'raw', '{source}', '', '2026-03-05 10:00:00+00:00', {posted})"
    )


POST = "UPDATE billing_journalentry SET posted_at = '2026-03-05 10:00:00+00:00' WHERE id = %s"
ADD_POSTING = (
    "INSERT INTO billing_posting (entry_id, account_id, amount_minor, text) VALUES (%s, %s, %s, '')"
)


@pytest.fixture
def draft(books: Books) -> Callable[..., int]:
    """Writes an entry that is not posted, with these amounts, and gives its id."""
    ledger = [
        LedgerAccount.objects.create(code=f"9{n}", name="Raw", kind="asset").pk for n in range(3)
    ]

    def write(source: str, amounts: Sequence[int], on: str = "2026-04-05") -> int:
        run(insert_entry(source, on))
        entry = JournalEntry.objects.get(source=source)
        for account, amount in zip(ledger, amounts, strict=False):
            run(ADD_POSTING, entry.pk, account, amount)
        return entry.pk

    return write


@pytest.fixture
def posted(draft: Callable[..., int]) -> JournalEntry:
    pk = draft("raw:posted", [500, -500])
    run(POST, pk)
    return JournalEntry.objects.get(pk=pk)


@pytest.mark.parametrize("amounts", [[], [500], [500, -499], [500, -400, -99]])
def test_unbalanced_entry_is_not_posted(draft: Callable[..., int], amounts: Sequence[int]) -> None:
    refused("posted_entry_balances", POST, draft("raw:1", amounts))


def test_balanced_entry_is_posted(posted: JournalEntry) -> None:
    assert posted.posted_at is not None


def test_entry_is_not_written_as_posted(books: Books) -> None:
    refused("entry_is_written_open", insert_entry("raw:1", posted_at="2026-03-05 10:00:00+00:00"))


@pytest.mark.parametrize(
    "change", ["posted_at = NULL", "text = 'other'", "\"on\" = '2026-02-01'", "source = 'x'"]
)
def test_posted_entry_is_not_changed(posted: JournalEntry, change: str) -> None:
    refused(
        "posted_entry_is_not_changed",
        f"UPDATE billing_journalentry SET {change} WHERE id = %s",  # noqa: S608
        posted.pk,
    )


def test_posted_entry_is_not_deleted(posted: JournalEntry) -> None:
    refused(
        "posted_entry_is_not_deleted", "DELETE FROM billing_journalentry WHERE id = %s", posted.pk
    )


def test_posting_is_not_added_to_a_posted_entry(posted: JournalEntry) -> None:
    account = posted.postings.first().account_id
    refused("posted_entry_takes_no_posting", ADD_POSTING, posted.pk, account, 1)


def test_posting_of_a_posted_entry_is_final(posted: JournalEntry) -> None:
    posting = posted.postings.first().pk
    refused(
        "posting_of_posted_entry_is_not_changed",
        "UPDATE billing_posting SET amount_minor = 1 WHERE id = %s",
        posting,
    )
    refused(
        "posting_of_posted_entry_is_not_deleted",
        "DELETE FROM billing_posting WHERE id = %s",
        posting,
    )


def test_posting_is_not_moved_into_or_out_of_a_posted_entry(
    posted: JournalEntry, draft: Callable[..., int]
) -> None:
    other = draft("raw:open", [7, -7])
    mine = posted.postings.first().pk
    theirs = JournalEntry.objects.get(pk=other).postings.first().pk
    move = "UPDATE billing_posting SET entry_id = %s WHERE id = %s"
    refused("posting_of_posted_entry_is_not_changed", move, other, mine)
    refused("posted_entry", move, posted.pk, theirs)


def test_posting_of_nothing_is_refused(draft: Callable[..., int]) -> None:
    entry = draft("raw:1", [5, -5])
    account = LedgerAccount.objects.first().pk
    refused("posting_moves_something", ADD_POSTING, entry, account, 0)


def test_source_is_posted_once(posted: JournalEntry) -> None:
    refused("source|posted_entry_is_not_replaced", insert_entry(posted.source))


def test_closed_month_takes_no_entry(books: Books, draft: Callable[..., int]) -> None:
    late, before, after = (
        draft(f"raw:{on}", [3, -3], on) for on in ("2026-03-31", "2026-01-31", "2026-04-01")
    )
    MonthClose.objects.create(month=MARCH, closed_at=AFTER_MARCH, closed_by=books.treasurer)
    refused("closed_month_takes_no_entry", POST, late)
    refused("closed_month_takes_no_entry", POST, before)
    run(POST, after)


@pytest.fixture
def closed(books: Books) -> MonthClose:
    """March is closed with one statement, a posted firing and a payment."""
    post_firing_cost(books.firing(), books.treasurer, NOON)
    record_payment(
        by=books.treasurer,
        at=NOON,
        account=books.ada_account,
        received_on=NOON.date(),
        amount_minor=200,
        method="cash",
    )
    return close_month(by=books.treasurer, at=AFTER_MARCH, month=MARCH)


def test_closed_month_stays_closed(closed: MonthClose) -> None:
    refused(
        "closed_month_is_not_deleted", "DELETE FROM billing_monthclose WHERE id = %s", closed.pk
    )
    refused(
        "closed_month_is_not_changed",
        "UPDATE billing_monthclose SET month = '2026-02-01' WHERE id = %s",
        closed.pk,
    )


@pytest.mark.parametrize("month", ["2026-02-01", "2026-05-01"])
def test_months_close_in_order(closed: MonthClose, month: str) -> None:
    refused(
        "months_close_in_order",
        "INSERT INTO billing_monthclose (month, closed_at, closed_by_id) VALUES (%s, %s, %s)",
        month,
        "2026-06-01 00:00:00+00:00",
        closed.closed_by_id,
    )


COPY_STATEMENT = (
    "INSERT INTO billing_statement (number, account_id, close_id, issued_at, due_on, "
    "opening_minor, charges_minor, credits_minor, payments_minor, closing_minor, content, "
    "content_hash) SELECT %s, %s, close_id, issued_at, due_on, opening_minor, "
    "charges_minor, credits_minor, payments_minor, closing_minor, content, content_hash "
    "FROM billing_statement WHERE number = 1"
)


@pytest.mark.parametrize("number", [0, 1, 2, 4, 9])
def test_statement_number_is_the_next(closed: MonthClose, number: int) -> None:
    assert list(Statement.objects.order_by("number").values_list("number", flat=True)) == [1, 2]
    other = make_account(103, "Cara Lime").pk
    refused("statement_number_is_the_next|number", COPY_STATEMENT, number, other)


def test_account_has_one_statement_a_month(closed: MonthClose) -> None:
    mine = Statement.objects.get(number=1).account_id
    refused(
        "statement_is_not_replaced|one_statement_per_account_and_month", COPY_STATEMENT, 3, mine
    )


def test_statement_is_final(closed: MonthClose) -> None:
    refused(
        "statement_is_not_changed",
        "UPDATE billing_statement SET content_hash = 'x' WHERE number = %s",
        1,
    )
    refused("statement_is_not_deleted", "DELETE FROM billing_statement WHERE number = %s", 2)


def test_payment_is_final(closed: MonthClose) -> None:
    pk = Payment.objects.get().pk
    refused(
        "payment_is_not_changed", "UPDATE billing_payment SET amount_minor = 1 WHERE id = %s", pk
    )
    refused("payment_is_not_deleted", "DELETE FROM billing_payment WHERE id = %s", pk)


@pytest.mark.parametrize(
    "change",
    [
        "pool_minor = 1",
        "studio_minor = 1",
        "entry_id = NULL",
        "usable_area_mm2 = 1",
        "rule = '[]'",
        "reversed_at = '2026-04-01 00:00:00+00:00', pool_minor = 1",
    ],
)
def test_posted_cost_is_not_changed(closed: MonthClose, change: str) -> None:
    refused(
        "posted_cost_is_not_changed",
        f"UPDATE billing_firingcost SET {change}",  # noqa: S608
    )


def test_cost_is_reversed_once(closed: MonthClose) -> None:
    reverse = "UPDATE billing_firingcost SET reversed_at = %s"
    run(reverse, "2026-04-01 00:00:00+00:00")
    refused("posted_cost_is_not_changed", reverse, "2026-04-02 00:00:00+00:00")
    refused("posted_cost_is_not_changed", "UPDATE billing_firingcost SET reversed_at = NULL")


def test_posted_cost_is_not_deleted(closed: MonthClose) -> None:
    refused("posted_cost_is_not_deleted", "DELETE FROM billing_firingcost")


@pytest.mark.parametrize(("table", "word"), [("share", "share"), ("costline", "line")])
def test_parts_of_a_posted_cost_are_final(closed: MonthClose, table: str, word: str) -> None:
    refused(
        f"{word}_of_posted_cost_is_not_changed",
        f"UPDATE billing_{table} SET amount_minor = 1",  # noqa: S608
    )
    refused(f"{word}_of_posted_cost_is_not_deleted", f"DELETE FROM billing_{table}")  # noqa: S608


def test_posted_cost_takes_no_line(closed: MonthClose) -> None:
    refused(
        "posted_cost_takes_no_line",
        "INSERT INTO billing_costline (cost_id, kind, text, amount_minor, working) "
        "SELECT id, 'energy', 'more', 1, '{}' FROM billing_firingcost",
    )


COPY_COST = (
    "INSERT INTO billing_firingcost (firing_id, policy, rule, pool_minor, studio_minor, "
    "studio_reason, usable_area_mm2, charged_area_mm2, entry_id, made_at, reversed_at) "
    "SELECT firing_id, policy, rule, pool_minor, studio_minor, '', 1, 1, {entry}, made_at, "
    "{reversed} "
    "FROM billing_firingcost"
)


def test_firing_is_not_posted_twice(closed: MonthClose) -> None:
    refused(
        "each_firing_is_posted_once|posted_cost_is_not_replaced|firing_id",
        COPY_COST.format(entry="NULL", reversed="NULL"),
    )


def test_cost_is_written_before_its_entry_and_adds_up(
    closed: MonthClose, posted: JournalEntry
) -> None:
    refused("cost_is_written_open", COPY_COST.format(entry=posted.pk, reversed="made_at"))
    run(COPY_COST.format(entry="NULL", reversed="made_at"))
    refused(
        "posted_cost_adds_up",
        "UPDATE billing_firingcost SET entry_id = %s WHERE entry_id IS NULL",
        posted.pk,
    )


@pytest.fixture
def stepped(books: Books) -> FiringCost:
    """A posted cost whose shares were raised to a minimum; Ada's first has a refund of 1.00."""
    BillingPolicy.objects.update(minimum_charge_minor=600)
    membership = Membership.objects.create(name="Fund", kind="subsidy", basis_points=1000)
    MembershipHolding.objects.create(
        account=books.ada_account, membership=membership, valid_from=MARCH,
        given_by=books.manager, given_at=NOON,
    )  # fmt: skip
    cost = post_firing_cost(books.firing(), books.treasurer, NOON)
    share = cost.shares.filter(account=books.ada_account).first()
    refund_share(by=books.treasurer, at=NOON, share=share, amount_minor=100, reason="a drip")
    return cost


def test_steps_of_a_posted_cost_are_final(stepped: FiringCost) -> None:
    refused("step_of_posted_cost_is_not_changed", "UPDATE billing_chargestep SET amount_minor = -1")
    refused("step_of_posted_cost_is_not_deleted", "DELETE FROM billing_chargestep")
    refused(
        "posted_cost_takes_no_step",
        "INSERT INTO billing_chargestep (cost_id, account_id, share_id, membership_id, kind, text, "
        "amount_minor, used, working) SELECT cost_id, account_id, id, NULL, 'minimum', '', 5, 0, "
        "'{}' FROM billing_share",
    )


@pytest.mark.parametrize("change", ["split_minor = 1", "working = '{}'"])
def test_part_and_working_of_a_posted_share_are_final(stepped: FiringCost, change: str) -> None:
    refused("share_of_posted_cost_is_not_changed", f"UPDATE billing_share SET {change}")  # noqa: S608


@pytest.mark.parametrize("amount", [100, -100])
def test_posted_share_is_its_part_and_its_steps(
    stepped: FiringCost, posted: JournalEntry, amount: int
) -> None:
    run(COPY_COST.format(entry="NULL", reversed="made_at"))
    copy = FiringCost.objects.get(entry=None)
    FiringCost.objects.filter(pk=copy.pk).update(studio_minor=copy.pool_minor - 50)
    CostLine.objects.create(cost=copy, kind="energy", text="all", amount_minor=copy.pool_minor)
    share = stepped.shares.first()
    Share.objects.create(
        cost=copy, booking=share.booking, account=share.account, area_mm2=1, split_minor=50,
        amount_minor=amount,
    )  # fmt: skip
    refused(
        "posted_share_is_its_steps",
        "UPDATE billing_firingcost SET entry_id = %s WHERE entry_id IS NULL",
        posted.pk,
    )


ADD_STEP = (
    "INSERT INTO billing_chargestep (cost_id, account_id, share_id, membership_id, kind, text, "
    "amount_minor, used, working) SELECT %s, account_id, {share}, {membership}, '{kind}', '', "
    "{amount}, 0, '{{}}' FROM billing_share WHERE id = %s"
)


@pytest.mark.parametrize(
    ("rule", "values"),
    [
        (
            "step_adds_or_takes_as_its_kind_does",
            {"kind": "minimum", "amount": -5, "share": "id", "membership": "NULL"},
        ),
        (
            "step_adds_or_takes_as_its_kind_does",
            {"kind": "subsidy", "amount": 5, "share": "id", "membership": 1},
        ),
        (
            "step_has_its_share_unless_for_crew",
            {"kind": "minimum", "amount": 5, "share": "NULL", "membership": "NULL"},
        ),
        (
            "step_has_its_membership_unless_minimum",
            {"kind": "surcharge", "amount": 5, "share": "id", "membership": "NULL"},
        ),
    ],
)
def test_step_that_cannot_be_is_refused(
    stepped: FiringCost, rule: str, values: dict[str, object]
) -> None:
    run(COPY_COST.format(entry="NULL", reversed="made_at"))
    copy = FiringCost.objects.get(entry=None)
    refused(rule, ADD_STEP.format(**values), copy.pk, stepped.shares.first().pk)


COPY_REFUND = (
    "INSERT INTO billing_refund (share_id, account_id, amount_minor, reason, made_by_id, made_at, "
    "entry_id) SELECT share_id, account_id, {amount}, {reason}, made_by_id, made_at, %s "
    "FROM billing_refund"
)


def test_refund_is_final_and_within_its_share(stepped: FiringCost, posted: JournalEntry) -> None:
    # The share is 6.00 less 10 %: 5.40, of which 1.00 is given back.
    refused(
        "refund_stays_within_its_share", COPY_REFUND.format(amount=441, reason="'x'"), posted.pk
    )
    refused("refund_has_its_reason", COPY_REFUND.format(amount=1, reason="''"), posted.pk)
    refused("refund_is_not_zero", COPY_REFUND.format(amount=0, reason="'x'"), posted.pk)
    refused("refund_is_not_changed", "UPDATE billing_refund SET amount_minor = 1")
    refused("refund_is_not_deleted", "DELETE FROM billing_refund")
    run(COPY_REFUND.format(amount=440, reason="'x'"), posted.pk)


def test_used_membership_is_not_changed(stepped: FiringCost) -> None:
    refused("used_membership_is_not_changed", "UPDATE billing_membership SET basis_points = 2000")
    run("UPDATE billing_membership SET is_offered = %s", False)


@pytest.mark.parametrize(
    ("rule", "change"),
    [
        ("membership_has_the_value_of_its_kind", "amount_minor = 5"),
        ("membership_has_the_value_of_its_kind", "basis_points = 0"),
        ("membership_has_the_value_of_its_kind", "kind = 'gift'"),
        ("no_more_than_the_whole_is_carried", "basis_points = 10001"),
    ],
)
def test_membership_that_cannot_be_is_refused(books: Books, rule: str, change: str) -> None:
    Membership.objects.create(name="Fund", kind="subsidy", basis_points=1000)
    refused(rule, f"UPDATE billing_membership SET {change}")  # noqa: S608


def test_holding_ends_after_it_begins(stepped: FiringCost) -> None:
    end = "UPDATE billing_membershipholding SET valid_until = '2026-02-28'"
    refused("holding_ends_after_it_begins", end)


def test_estimate_of_a_life_is_final(stepped: FiringCost, books: Books) -> None:
    estimate_part_anew(
        by=books.treasurer, at=NOON, part=KilnPart.objects.get(), replacement_cost_minor=1,
        expected_life=Decimal(9), reason="worn",
    )  # fmt: skip
    refused("estimate_is_not_changed", "UPDATE billing_lifeestimate SET charged_minor = 9")
    refused("estimate_is_not_deleted", "DELETE FROM billing_lifeestimate")
    refused(
        "estimated_life_is_longer_than_what_is_used",
        "INSERT INTO billing_lifeestimate (part_id, replacement_cost_minor, expected_life, "
        "charged_minor, units_used, reason, made_at) SELECT part_id, 1, 5, 0, 5, 'x', made_at "
        "FROM billing_lifeestimate",
    )


def test_used_tariff_is_not_changed(closed: MonthClose) -> None:
    refused("used_tariff_is_not_changed", "UPDATE billing_tariffversion SET rates = '{}'")


def test_there_is_one_billing_policy(closed: MonthClose) -> None:
    refused("one_billing_policy", "UPDATE billing_billingpolicy SET id = 2")


@pytest.mark.parametrize(
    ("rule", "change"),
    [("iban_has_its_payee", "iban = 'DE89370400440532013000'"), ("bic_has_its_iban", "bic = 'X'")],
)
def test_bank_details_are_whole(closed: MonthClose, rule: str, change: str) -> None:
    refused(rule, f"UPDATE billing_billingpolicy SET {change}")  # noqa: S608


def test_sqlite_does_not_replace_what_is_final(
    stepped: FiringCost, closed: MonthClose, posted: JournalEntry
) -> None:
    """INSERT OR REPLACE deletes without firing a trigger for it; PostgreSQL has no such thing."""
    if connection.vendor != "sqlite":
        with pytest.raises(ProgrammingError), transaction.atomic():
            run("INSERT OR REPLACE INTO billing_share SELECT * FROM billing_share")
        return
    replace = "INSERT OR REPLACE INTO {table} SELECT * FROM {table} LIMIT 1"
    for table, rule in (
        ("billing_journalentry", "entry_is_written_open|posted_entry_is_not_replaced"),
        ("billing_posting", "posted_entry_takes_no_posting|posting_is_not_replaced"),
        ("billing_statement", "statement_is_not_replaced|statement_number_is_the_next"),
        ("billing_payment", "payment_is_not_replaced"),
        ("billing_firingcost", "cost_is_written_open|posted_cost_is_not_replaced"),
        ("billing_share", "posted_cost_takes_no_share"),
        ("billing_costline", "posted_cost_takes_no_line"),
        ("billing_chargestep", "posted_cost_takes_no_step"),
        ("billing_refund", "refund_is_not_replaced|refund_stays_within_its_share"),
    ):
        refused(rule, replace.format(table=table))
