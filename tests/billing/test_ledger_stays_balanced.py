"""Whatever is done in whatever order, the books balance (properties of double entry).

Checked after every step: the trial balance agrees, each entry sums to zero, every statement
closes with the balance of its account, and numbers run without a hole.
"""

from __future__ import annotations

from contextlib import suppress
from datetime import UTC, date, datetime, timedelta
from typing import Any

from django.db import transaction
from django.db.models import Sum
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from billing.actions.balances import balance_minor_of, ledger_balances_on, trial_balance_on
from billing.actions.bank_files import take_in_bank_file
from billing.actions.bank_lines import bring_back_bank_line, confirm_bank_line
from billing.actions.close_month import close_month, month_to_close
from billing.actions.memberships import add_membership, give_membership
from billing.actions.payments import give_credit, record_payment, reverse_payment
from billing.actions.price_firing import (
    post_firing_cost,
    reprice_firing,
    reverse_firing_cost,
)
from billing.actions.refunds import refund_share
from billing.models import (
    BankLine,
    BillingPolicy,
    FiringCost,
    FixedKind,
    JournalEntry,
    Membership,
    MembershipKind,
    MonthBalance,
    Payment,
    Posting,
    Share,
    Statement,
)
from billing.refusals import BillingRefusal
from studio.models import Account
from tests.billing.bank_scene import Entry, camt
from tests.billing.conftest import Books
from tests.billing.scene import fire_with_ware

FAR_OFF = date(2027, 12, 31)
areas = st.integers(1, 90_000)
amounts = st.integers(-4_000, 9_000)
steps = st.one_of(
    st.tuples(st.just("fire"), st.lists(areas, max_size=4), st.integers(0, 60_000)),
    st.tuples(st.just("pay"), amounts, st.booleans()),
    st.tuples(st.just("bank"), amounts.filter(bool), st.booleans()),
    st.tuples(st.just("take a line again"), st.integers(0, 3), st.booleans()),
    st.tuples(st.just("credit"), amounts, st.booleans()),
    st.tuples(st.just("take back payment"), st.integers(0, 3), st.none()),
    st.tuples(st.just("take back cost"), st.integers(0, 3), st.booleans()),
    st.tuples(st.just("close"), st.none(), st.none()),
    st.tuples(
        st.just("rule"),
        st.tuples(
            st.sampled_from(["used", "capacity"]),
            st.sampled_from(FixedKind.values),
            st.integers(0, 100),
            st.integers(0, 900),
        ),
        st.integers(0, 400),
    ),
    st.tuples(st.just("membership"), st.sampled_from(MembershipKind.values), st.booleans()),
    st.tuples(st.just("refund"), st.integers(0, 4), st.integers(1, 10_000)),
)


def take(books: Books, step: tuple[Any, ...], at: datetime) -> None:
    """Do one step; a refusal is a fine outcome, as long as nothing bends."""
    what, first, second = step
    account = books.ada_account if second else books.ben_account
    by = {"by": books.treasurer, "at": at}
    if what == "fire":
        wares = [(books.ada if n % 2 else books.ben, area) for n, area in enumerate(first)]
        firing = fire_with_ware(
            books.kiln, wares, started_at=at, energy_wh=second, started_by=books.ada
        )
        with transaction.atomic():
            post_firing_cost(firing, books.treasurer, at)
    elif what == "pay":
        record_payment(
            account=account, received_on=at.date(), amount_minor=first, method="cash", **by
        )
    elif what in ("bank", "take a line again"):
        for line in bank_lines(what, first, by):
            confirm_bank_line(line=line, account=account, **by)
    elif what == "credit":
        give_credit(account=account, amount_minor=first, reason="a chip", **by)
    elif what.startswith("take back"):
        take_back(what, first, second, by)
    elif what in ("rule", "membership", "refund"):
        bend(what, first, second, account, by)
    elif (month := month_to_close(at)) is not None:
        close_month(month=month, **by)


def bend(what: str, first: Any, second: Any, account: Account, by: dict[str, Any]) -> None:
    """What changes charges: the studio's rule, a membership, part of a share given back."""
    if what == "rule":
        set_rule(first, second)
    elif what == "membership":
        give_some(first, account, by)
    else:
        for share in Share.objects.order_by("pk")[first : first + 1]:
            refund_share(share=share, basis_points=second, reason="a drip", **by)


def set_rule(rule: tuple[str, str, int, int], minimum_minor: int) -> None:
    split_policy, fixed_kind, percent, estimate_minor = rule
    BillingPolicy.objects.update(
        split_policy=split_policy,
        fixed_kind=fixed_kind,
        fixed_percent=percent,
        fixed_estimate_minor=estimate_minor,
        minimum_charge_minor=minimum_minor,
    )


def give_some(kind: str, account: Account, by: dict[str, Any]) -> None:
    """A membership of a kind, from the step's day on; of each kind the account holds one."""
    value = {"basis_points": 3_700, "amount_minor": 650, "area_mm2": 44_444}
    name = dict(MembershipKind.choices)[kind]
    membership = Membership.objects.filter(kind=kind).first() or add_membership(
        name=name, kind=kind, **value, **by
    )
    give_membership(account=account, membership=membership, valid_from=by["at"].date(), **by)


def take_back(what: str, first: int, is_again: bool, by: dict[str, Any]) -> None:
    if what == "take back payment":
        for payment in Payment.objects.all()[first : first + 1]:
            reverse_payment(payment=payment, reason="bounced", **by)
        return
    for cost in FiringCost.objects.all()[first : first + 1]:
        reverse_firing_cost(cost=cost, reason="misread", **by)
        if is_again:
            reprice_firing(firing=cost.firing, **by)


def bank_lines(what: str, first: int, by: dict[str, Any]) -> list[BankLine]:
    """A line that the bank sends, or one brought back because its payment was."""
    if what == "take a line again":
        lines = BankLine.objects.order_by("pk")[first : first + 1]
        return [bring_back_bank_line(line=line, reason="another account", **by) for line in lines]
    at = by["at"]
    amount = f"{abs(first) // 100}.{abs(first) % 100:02}"
    entry = Entry(amount=amount, sign="CRDT" if first > 0 else "DBIT", on=f"{at:%Y-%m-%d}")
    return list(take_in_bank_file(name="bank.xml", content=camt(entry), **by).lines.all())


def some_days() -> list[date]:
    """The days on which something was posted, and those right before."""
    days = JournalEntry.objects.order_by().values_list("on", flat=True).distinct()
    return [one - timedelta(days=back) for one in days for back in (0, 1)]


def check_books(books: Books) -> None:
    assert trial_balance_on(FAR_OFF)[0].is_balanced
    assert sum(balance for _, balance in ledger_balances_on(FAR_OFF)) == 0
    assert not JournalEntry.objects.annotate(s=Sum("postings__amount_minor")).exclude(s=0).exists()
    assert not JournalEntry.objects.filter(posted_at=None).exists()
    for cost in FiringCost.objects.all():
        shared = Share.objects.filter(cost=cost).aggregate(sum=Sum("split_minor"))["sum"] or 0
        assert shared + cost.studio_minor == cost.pool_minor
    for share in Share.objects.prefetch_related("steps", "refunds__entry"):
        steps = sum(step.amount_minor for step in share.steps.all())
        assert share.amount_minor == share.split_minor + steps >= 0
        given = share.refunds.filter(entry__reversed_by=None)
        assert sum(refund.amount_minor for refund in given) <= share.amount_minor
    for issued in Statement.objects.select_related("close"):
        last_day = (issued.close.month + timedelta(days=31)).replace(day=1) - timedelta(days=1)
        assert issued.closing_minor == balance_minor_of(issued.account, last_day)
    for line in BankLine.objects.exclude(payment=None).select_related("payment"):
        assert line.payment.amount_minor == line.amount_minor
    for day in {*MonthBalance.objects.values_list("on", flat=True), *some_days()}:
        until = Posting.objects.filter(entry__on__lte=day).values_list("account").order_by()
        summed = {pk: minor for pk, minor in until.annotate(Sum("amount_minor")) if minor}
        assert summed == {row.pk: minor for row, minor in ledger_balances_on(day) if minor}
    numbers = list(Statement.objects.order_by("number").values_list("number", flat=True))
    assert numbers == list(range(1, len(numbers) + 1))


@settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(taken=st.lists(steps, min_size=1, max_size=12))
def test_any_sequence_keeps_the_books_balanced(books: Books, taken: list[tuple[Any, ...]]) -> None:
    start = transaction.savepoint()  # each example begins with the same books
    for day, step in enumerate(taken):
        at = datetime(2026, 3, 10, 12, tzinfo=UTC) + timedelta(days=11 * day)
        with suppress(BillingRefusal):
            take(books, step, at)
        check_books(books)
    transaction.savepoint_rollback(start)
