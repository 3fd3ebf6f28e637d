from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext

from billing.actions import statement_drafts
from billing.actions.close_month import (
    close_month,
    content_hash,
    is_untouched,
    month_to_close,
    preview_close,
)
from billing.actions.payments import give_credit, record_payment, reverse_payment
from billing.actions.price_firing import post_firing_cost, reverse_firing_cost
from billing.models import JournalEntry, MonthClose, Statement
from billing.refusals import BillingRefusal
from firings.models import FiringState
from studio.models import Notice, Role
from studio.refusals import Denied
from tests.billing.conftest import Books
from tests.billing.scene import (
    AFTER_APRIL,
    AFTER_MARCH,
    APRIL,
    MARCH,
    NOON,
    fire_with_ware,
    make_account,
    make_firing,
    make_person,
)


def pay(books: Books, amount_minor: int, at: datetime = NOON) -> object:
    return record_payment(
        by=books.treasurer,
        at=at,
        account=books.ada_account,
        received_on=at.date(),
        amount_minor=amount_minor,
        method="bank",
    )


def price(books: Books, **fields: object) -> object:
    with transaction.atomic():
        return post_firing_cost(books.firing(**fields), books.manager, NOON)


def close(books: Books, month: date = MARCH, at: datetime = AFTER_MARCH) -> MonthClose:
    return close_month(by=books.treasurer, at=at, month=month)


def figures(number: int) -> tuple[int, int, int, int, int]:
    issued = Statement.objects.get(number=number)
    return (
        issued.opening_minor,
        issued.charges_minor,
        issued.credits_minor,
        issued.payments_minor,
        issued.closing_minor,
    )


def test_close_issues_a_statement_for_each_account_that_moved(books: Books) -> None:
    make_account(103, "Nobody came")
    price(books)  # Ada 3.47 + 2.32, Ben 5.79
    pay(books, 400)
    give_credit(
        by=books.treasurer, at=NOON, account=books.ben_account, amount_minor=79, reason="a chip"
    )
    close(books)

    assert list(Statement.objects.order_by("number").values_list("account__number", flat=True)) == [
        101,
        102,
    ]
    assert figures(1) == (0, 579, 0, 400, 179)
    assert figures(2) == (0, 579, 79, 0, 500)


def test_closing_balance_opens_the_next_statement(books: Books) -> None:
    """Closing = opening + booked entries, and opens the next one: ISO 20022 camt.053."""
    price(books)
    close(books)
    payment = pay(books, 579, at=AFTER_MARCH)
    reverse_payment(by=books.treasurer, at=AFTER_MARCH, payment=payment, reason="bounced")
    close(books, APRIL, AFTER_APRIL)
    assert figures(3) == (579, 579, 0, 579, 579)  # a bounced payment is charged again
    assert figures(4) == (579, 0, 0, 0, 579)  # nothing moved, yet there is a balance


def test_cost_reversed_later_is_a_credit_on_the_next_statement(books: Books) -> None:
    cost = price(books)
    close(books)
    reverse_firing_cost(by=books.treasurer, at=AFTER_MARCH, cost=cost, reason="meter misread")
    close(books, APRIL, AFTER_APRIL)
    assert figures(3) == (579, 0, 579, 0, 0)
    lines = Statement.objects.get(number=3).content["lines"]
    assert {line["reason"] for line in lines} == {"meter misread"}


def test_content_is_frozen_whole_and_hashed(books: Books) -> None:
    price(books)
    close(books)
    issued = Statement.objects.get(number=1)
    assert is_untouched(issued)
    assert content_hash({"b": 1, "a": "é"}) == content_hash({"a": "é", "b": 1})
    line = issued.content["lines"][0]
    assert (line["amount_minor"], line["area_mm2"], line["share_of_mm2"]) == (347, 30_000, 100_000)
    assert (line["kiln"], line["cone"], line["stage"]) == ("Old Faithful", "6", "Glaze")
    assert line["working"][-1].endswith("the fraction is dropped.")
    assert issued.due_on == date(2026, 4, 16)
    issued.content["lines"][0]["amount_minor"] = 1
    assert not is_untouched(issued)


def test_each_active_person_of_an_account_is_told(books: Books) -> None:
    make_person("Bea Sallow", Role.MEMBER, account=books.ben_account)
    left = make_person("Bo Sallow", Role.MEMBER, account=books.ben_account)
    left.is_active = False
    left.save()
    price(books)
    close(books)
    told = Notice.objects.filter(kind="statement").order_by("key")
    assert {notice.person.name for notice in told} == {"Ada Rowan", "Ben Sallow", "Bea Sallow"}
    assert told.first().facts["path"] == "/statements/1/"
    assert told.first().facts["closing_minor"] == 579


def test_second_close_is_refused_and_changes_nothing(books: Books) -> None:
    price(books)
    close(books)
    before = (Statement.objects.count(), JournalEntry.objects.count(), Notice.objects.count())
    with pytest.raises(BillingRefusal, match="March 2026 is closed already"):
        close(books)
    assert before == (
        Statement.objects.count(),
        JournalEntry.objects.count(),
        Notice.objects.count(),
    )


def test_month_must_be_over_in_the_studios_time(books: Books) -> None:
    price(books)
    last_minute = datetime(2026, 3, 31, 21, 59, tzinfo=UTC)  # 23:59 in Berlin
    with pytest.raises(BillingRefusal, match="not over yet"):
        close(books, at=last_minute)
    close(books, at=last_minute + timedelta(minutes=1))


def test_months_close_in_order(books: Books) -> None:
    price(books)
    with pytest.raises(BillingRefusal, match="Close March 2026 first"):
        close(books, APRIL, AFTER_APRIL)
    close(books, at=AFTER_APRIL)
    with pytest.raises(BillingRefusal, match="before all that is open"):
        close(books, date(2026, 2, 1), AFTER_APRIL)
    assert month_to_close(AFTER_MARCH) is None
    assert month_to_close(AFTER_APRIL) == APRIL


def test_close_whose_statements_differ_from_the_ledger_is_refused(
    books: Books, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Subsidiary ledger equals control account (bookkeeping's rule): checked before it is issued.

    The control is every other test here: without the lost line the same month closes.
    """
    price(books)
    lines = statement_drafts._firing_lines
    monkeypatch.setattr(statement_drafts, "_firing_lines", lambda month: lines(month)[1:])
    with pytest.raises(BillingRefusal, match="account 101 Ada Rowan") as refusal:
        close(books)
    assert refusal.value.code == "statements_differ"
    assert (MonthClose.objects.count(), Statement.objects.count()) == (0, 0)
    assert not Notice.objects.exists()


def test_month_before_the_first_entry_is_not_closed(books: Books) -> None:
    """One slip of the year, and every month since would have to be closed one by one."""
    with pytest.raises(BillingRefusal, match="Nothing is in the books yet"):
        close(books)
    price(books)
    with pytest.raises(BillingRefusal, match="Next is March 2026"):
        close(books, date(2016, 3, 1))
    assert not MonthClose.objects.exists()


def test_late_payment_says_on_the_statement_when_it_came(books: Books) -> None:
    price(books)
    close(books)
    pay(books, 100, at=AFTER_MARCH - timedelta(days=4))
    close(books, APRIL, AFTER_APRIL)
    (line,) = Statement.objects.get(number=3).content["lines"]
    assert (line["on"], line["kind"], line["amount_minor"]) == ("2026-04-01", "payment", 100)
    assert line["text"] == "Payment, bank transfer (of 29 March 2026, in a closed month)"


def test_only_the_treasurer_closes(books: Books) -> None:
    with pytest.raises(Denied):
        close_month(by=books.manager, at=AFTER_MARCH, month=MARCH)


def test_late_firing_lands_in_the_open_month_and_says_so(books: Books) -> None:
    price(books)
    close(books)
    late = price(books, started_at=datetime(2026, 3, 30, 12, tzinfo=UTC))
    assert late.entry.on == APRIL
    assert late.entry.text.endswith("(of 30 March 2026, in a closed month)")


def test_preview_says_what_would_happen_and_what_is_open(books: Books) -> None:
    price(books)
    pay(books, 100)
    running = make_firing(books.kiln, state=FiringState.COOLING)
    aborted = make_firing(books.kiln, state=FiringState.ABORTED, energy_wh=None)
    unpriced = make_firing(books.kiln, state=FiringState.ABORTED)
    guest = make_person("Gus Gone", Role.MEMBER)

    early = preview_close(MARCH, NOON)
    assert (early.can_close, early.hindrance.code) == (False, "month_not_over")
    preview = preview_close(MARCH, AFTER_MARCH)
    assert preview.can_close
    assert (preview.statements_count, preview.charges_minor, preview.payments_minor) == (
        2,
        1158,
        100,
    )
    assert preview.closing_minor == 1058
    assert preview.firings_open == [running]
    assert preview.energy_unknown == [aborted]
    assert preview.firings_unpriced == [unpriced]
    assert preview.members_without_account == [guest]
    assert not MonthClose.objects.exists()


def test_preview_adds_up_to_what_is_issued(books: Books) -> None:
    """The preview sums in the database, the statements line by line: charges, a credit, a payment,
    one that bounced, money paid back, and a cost that was taken back."""
    price(books)
    give_credit(by=books.treasurer, at=NOON, account=books.ada_account, amount_minor=9, reason="x")
    pay(books, 100)
    reverse_payment(by=books.treasurer, at=NOON, payment=pay(books, 250), reason="bounced")
    pay(books, -40)
    reverse_firing_cost(by=books.treasurer, at=NOON, cost=price(books), reason="wrong meter")
    preview = preview_close(MARCH, AFTER_MARCH)
    close(books)
    for name in ("opening", "charges", "credits", "payments", "closing"):
        issued = sum(Statement.objects.values_list(f"{name}_minor", flat=True))
        assert getattr(preview, f"{name}_minor") == issued, name
    assert preview.statements_count == Statement.objects.count() == 2
    assert preview.charges_minor == 2 * 1158 + 250 + 40


def test_closing_asks_no_more_for_more_accounts(books: Books) -> None:
    def queries(month: date, at: datetime) -> int:
        with CaptureQueriesContext(connection) as captured:
            close(books, month, at)
        return len(captured)

    price(books)
    few = queries(MARCH, AFTER_MARCH)
    for number in range(30):
        person = make_person(
            f"Class {number}", Role.MEMBER, account=make_account(300 + number, f"Class {number}")
        )
        with transaction.atomic():
            firing = fire_with_ware(books.kiln, [(person, 5_000)], started_at=AFTER_MARCH)
            post_firing_cost(firing, None, AFTER_MARCH)
    assert queries(APRIL, AFTER_APRIL) <= few
    assert Statement.objects.count() == 34
