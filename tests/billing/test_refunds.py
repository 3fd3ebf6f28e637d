"""Part of a charge is given back: as a credit of its own, never more than was charged."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import transaction

from billing.actions.balances import balance_minor_of, ledger_balances_on
from billing.actions.close_month import close_month
from billing.actions.ledger import reverse_entry
from billing.actions.price_firing import post_firing_cost, reverse_firing_cost
from billing.actions.refunds import piece_part_minor, refund_share, refunded_minor
from billing.models import Refund, Share, Statement
from billing.refusals import BillingRefusal
from firings.models import Piece
from studio.models import Role
from studio.refusals import Denied
from tests.billing.conftest import Books
from tests.billing.scene import AFTER_MARCH, MARCH, NOON, make_person

YEAR_END = AFTER_MARCH.date().replace(month=12, day=31)


@pytest.fixture
def share(books: Books) -> Share:
    """Ben's 5.79, for a bowl of 100 and a plate of 200 mm."""
    with transaction.atomic():
        post_firing_cost(books.firing(), books.manager, NOON)
    found = Share.objects.get(account=books.ben_account)
    for name, across_mm in (("Bowl", 100), ("Plate", 200)):
        Piece.objects.create(
            booking=found.booking, name=name, shape="round", across_mm=across_mm, height_mm=80
        )
    return found


def refund(books: Books, share: Share, **changes: Any) -> Refund:
    wanted = {"reason": "the lid dripped on it", **changes}
    return refund_share(by=books.treasurer, at=NOON, share=share, **wanted)


def piece(share: Share, name: str) -> Piece:
    return share.booking.pieces.get(name=name)


def test_amount_is_credited_at_the_studios_expense(books: Books, share: Share) -> None:
    given = refund(books, share, amount_minor=200)
    assert balance_minor_of(books.ben_account, YEAR_END) == 379
    found = {account.code: minor for account, minor in ledger_balances_on(YEAR_END)}
    assert found["5120"] == 200
    assert given.entry.source == f"refund:{share.pk}:1"
    close_month(by=books.treasurer, at=AFTER_MARCH, month=MARCH)
    statement = Statement.objects.get(account=books.ben_account)
    assert (statement.charges_minor, statement.credits_minor) == (579, 200)
    line = statement.content["lines"][-1]
    assert (line["kind"], line["amount_minor"]) == ("credit", 200)
    assert line["reason"] == "the lid dripped on it"


def test_percentage_of_a_piece_follows_its_footprint(books: Books, share: Share) -> None:
    # Discs of 100 and 200 mm are 7,854 and 31,416 mm2: 5.79 falls 1.158 and 4.632.
    assert piece_part_minor(share, piece(share, "Bowl")) == 116
    assert piece_part_minor(share, piece(share, "Plate")) == 463
    given = refund(books, share, piece=piece(share, "Plate"), basis_points=5_000)
    assert given.amount_minor == 232  # 231.5, the half is the member's
    assert "Plate" in given.entry.text


def test_crew_give_back_too(books: Books, share: Share) -> None:
    crew = make_person("Kit Crew", Role.CREW)
    given = refund_share(by=crew, at=NOON, share=share, basis_points=10_000, reason="crawled")
    assert given.amount_minor == 579


def test_members_give_nothing_back(books: Books, share: Share) -> None:
    with pytest.raises(Denied):
        refund_share(by=books.ben, at=NOON, share=share, amount_minor=1, reason="x")


def test_never_more_than_was_charged(books: Books, share: Share) -> None:
    refund(books, share, amount_minor=400)
    with pytest.raises(BillingRefusal, match=r"€1\.79 can still be given back"):
        refund(books, share, amount_minor=180)
    second = refund(books, share, amount_minor=179)
    reverse_entry(by=books.treasurer, at=NOON, entry=second.entry, reason="a mistake")
    assert refunded_minor(share) == 400
    refund(books, share, amount_minor=179)


def test_never_more_for_a_piece_than_its_part(books: Books, share: Share) -> None:
    bowl = piece(share, "Bowl")
    refund(books, share, piece=bowl, amount_minor=100)
    with pytest.raises(BillingRefusal, match=r"for this piece, €0\.16 can still be given back"):
        refund(books, share, piece=bowl, amount_minor=17)


def test_reversing_the_cost_takes_its_refunds_back(books: Books, share: Share) -> None:
    refund(books, share, amount_minor=200)
    reverse_firing_cost(by=books.treasurer, at=NOON, cost=share.cost, reason="misread")
    assert balance_minor_of(books.ben_account, YEAR_END) == 0
    with pytest.raises(BillingRefusal, match="was taken back"):
        refund(books, share, amount_minor=1)


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({}, "refund_unclear"),
        ({"amount_minor": 5, "basis_points": 5}, "refund_unclear"),
        ({"amount_minor": 0}, "refund_wrong"),
        ({"amount_minor": -5}, "refund_wrong"),
        ({"basis_points": 10_001}, "refund_wrong"),
        ({"basis_points": 1}, "refund_wrong"),  # 0.0579 cents
        ({"amount_minor": 5, "reason": " "}, "reason_missing"),
        ({"amount_minor": 5, "reason": "x" * 151}, "reason_too_long"),
    ],
)
def test_refund_that_cannot_be_is_refused(
    books: Books, share: Share, changes: dict[str, Any], code: str
) -> None:
    with pytest.raises(BillingRefusal) as refusal:
        refund(books, share, **changes)
    assert refusal.value.code == code
    assert not Refund.objects.exists()


def test_piece_of_another_slip_is_refused(books: Books, share: Share) -> None:
    other = Share.objects.filter(account=books.ada_account).first()
    with pytest.raises(BillingRefusal, match="does not belong to slip"):
        refund(books, other, piece=piece(share, "Bowl"), amount_minor=5)


def test_nothing_is_given_back_of_nothing(books: Books) -> None:
    with transaction.atomic():
        cost = post_firing_cost(books.firing(is_kiln_fault=True), books.manager, NOON)
    with pytest.raises(BillingRefusal, match="Nothing was charged for slip"):
        refund(books, cost.shares.first(), amount_minor=5)
