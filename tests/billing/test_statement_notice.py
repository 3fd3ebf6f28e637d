from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import transaction

from billing.actions.close_month import close_month
from billing.actions.payments import record_payment
from billing.actions.price_firing import post_firing_cost
from studio.channels.email.letter import Letter, write_letter
from studio.models import Notice
from tests.billing.conftest import Books
from tests.billing.scene import AFTER_MARCH, MARCH, NOON


def letter_to_ada(books: Books) -> Letter:
    close_month(by=books.treasurer, at=AFTER_MARCH, month=MARCH)
    return write_letter(Notice.objects.get(person=books.ada))


def pay(books: Books, amount_minor: int) -> None:
    record_payment(
        by=books.treasurer,
        at=NOON,
        account=books.ada_account,
        received_on=NOON.date() - timedelta(days=1),
        amount_minor=amount_minor,
        method="cash",
    )


@pytest.fixture
def charged(books: Books) -> Books:
    with transaction.atomic():
        post_firing_cost(books.firing(), None, NOON)  # 5.79 for Ada
    return books


def test_letter_says_what_to_pay_and_by_when(charged: Books) -> None:
    letter = letter_to_ada(charged)
    assert letter.subject == "Statement 1 for March 2026: €5.79 to pay by 16 April"
    assert "Please pay €5.79 by 16 April 2026 with the reference RF90 101." in letter.text
    assert "with the reference RF90 101." in letter.html
    assert "/statements/1/" in letter.text
    assert 'href="http://localhost:8000/statements/1/"' in letter.html


def test_letter_from_before_references_names_the_statement(charged: Books) -> None:
    close_month(by=charged.treasurer, at=AFTER_MARCH, month=MARCH)
    notice = Notice.objects.get(person=charged.ada)
    del notice.facts["reference"]
    assert "16 April 2026 and name statement 1." in write_letter(notice).text


def test_letter_of_a_settled_account_asks_for_nothing(charged: Books) -> None:
    pay(charged, 579)
    letter = letter_to_ada(charged)
    assert letter.subject == "Statement 1 for March 2026: nothing to pay"
    assert "There is nothing to pay." in letter.text
    assert "RF90" not in letter.text


def test_letter_of_an_account_in_credit_says_so(charged: Books) -> None:
    pay(charged, 600)
    letter = letter_to_ada(charged)
    assert letter.subject == "Statement 1 for March 2026: €0.21 in your favour"
    assert "Now in your favour: €0.21" in letter.text
