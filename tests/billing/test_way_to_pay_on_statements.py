"""How to pay on a statement: frozen when it is issued, the same on the page and in the PDF."""

from __future__ import annotations

from collections.abc import Iterator
from io import BytesIO
from typing import Any

import pikepdf
import pytest
import segno
import typst
from django.db import transaction

from billing.actions.close_month import close_month, content_hash, is_untouched
from billing.actions.payments import record_payment
from billing.actions.policy import edit_billing_policy
from billing.actions.price_firing import post_firing_cost
from billing.calculations.way_to_pay import QUIET_MODULES
from billing.models import BillingPolicy, Statement
from billing.statement_pdf import render_statement_pdf
from tests.billing.conftest import Books
from tests.billing.faces_scene import signed_in, text_of
from tests.billing.scene import AFTER_MARCH, APRIL, MARCH, NOON, make_studio

# A sample of the IBAN registry (ISO 13616).
IBAN = "DE89370400440532013000"
# What the code holds, by the table of EPC069-12 v2.1. Reference: 101 -> 101271500 mod 97 = 8,
# 98 - 8 = 90 (the rule of ISO 11649, done by hand).
PAYLOAD = f"BCD\n002\n1\nSCT\n\nTöpferei Ashbank\n{IBAN}\nEUR5.79\n\nRF90101"


def set_bank(books: Books, **changes: Any) -> None:
    wanted: dict[str, Any] = {
        "split_policy": "used",
        "consumables_per_firing_minor": 150,
        "handling_per_firing_minor": 100,
        "payment_days": 14,
        "how_to_pay": "By transfer.",
        "payee_name": "Töpferei Ashbank",
        "iban": IBAN,
    }
    edit_billing_policy(by=books.treasurer, at=NOON, **{**wanted, **changes})


def issued(books: Books, paid_minor: int = 0) -> Statement:
    """Ada's statement of March: charged with 5.79, less what she paid."""
    with transaction.atomic():
        post_firing_cost(books.firing(), books.manager, NOON)
    if paid_minor:
        record_payment(
            by=books.treasurer,
            at=NOON,
            account=books.ada_account,
            received_on=NOON.date(),
            amount_minor=paid_minor,
            method="cash",
        )
    close_month(by=books.treasurer, at=AFTER_MARCH, month=MARCH)
    return Statement.objects.get(number=1)


def page_of(books: Books, statement: Statement) -> str:
    return text_of(signed_in(books.ada).get(statement.get_absolute_url()))


def figures_in(element: Any) -> Iterator[Any]:
    """The figures of a tagged document."""
    if isinstance(element, pikepdf.Array):
        for child in element:
            yield from figures_in(child)
    elif isinstance(element, pikepdf.Dictionary):
        if element.get("/S") == pikepdf.Name.Figure:
            yield element
        if "/K" in element:
            yield from figures_in(element.K)


def spoken_figures(statement: Statement) -> list[str]:
    """The words for each picture of the PDF, which must still claim PDF/UA-1 (ISO 14289-1)."""
    with pikepdf.open(BytesIO(render_statement_pdf(statement))) as pdf:
        assert pdf.Root.MarkInfo.Marked
        with pdf.open_metadata() as metadata:
            assert metadata["pdfuaid:part"] == "1"
        return [
            str(figure.Alt).replace("\u00a0", " ")
            for figure in figures_in(pdf.Root.StructTreeRoot.K)
        ]


def layout_words(statement: Statement, monkeypatch: pytest.MonkeyPatch) -> str:
    """The text that the layout of the PDF was given."""
    given: list[str] = []
    typeset = typst.compile

    def spy(*args: Any, **options: Any) -> bytes:
        given.append(options["sys_inputs"]["statement"])
        return typeset(*args, **options)

    monkeypatch.setattr(typst, "compile", spy)
    render_statement_pdf(statement)
    return given[0].replace("\u00a0", " ")


def test_way_to_pay_is_frozen_with_the_statement(books: Books) -> None:
    set_bank(books)
    statement = issued(books)
    frozen = {
        "payee_name": "Töpferei Ashbank",
        "iban": IBAN,
        "bic": "",
        "reference": "RF90101",
        "amount_minor": 579,
        "currency": "EUR",
    }
    assert statement.content["way_to_pay"] == frozen
    set_bank(books, iban="", payee_name="Somebody else")
    again = Statement.objects.get(number=1)
    assert again.content["way_to_pay"] == frozen
    assert is_untouched(again)
    assert IBAN[:4] in page_of(books, again)


def test_page_shows_details_and_the_code(books: Books) -> None:
    set_bank(books)
    page = page_of(books, issued(books))
    for words in (
        "Töpferei Ashbank",
        "DE89 3704 0044 0532 0130 00",
        "RF90 101",
        "Scan with a bank",
    ):
        assert words in page
    code = segno.make_qr(PAYLOAD.encode(), error="m", boost_error=False)
    drawn = code.svg_inline(border=QUIET_MODULES, omitsize=True, svgclass=None, lineclass=None)
    assert drawn in page


def test_pdf_shows_details_and_the_code(books: Books, monkeypatch: pytest.MonkeyPatch) -> None:
    set_bank(books)
    statement = issued(books)
    assert spoken_figures(statement) == [
        "Code for a bank app: €5.79 to Töpferei Ashbank, IBAN DE89 3704 0044 0532 0130 00, "
        "reference RF90 101"
    ]
    words = layout_words(statement, monkeypatch)
    for shown in ("Töpferei Ashbank", "DE89 3704 0044 0532 0130 00", "RF90 101", "€5.79"):
        assert shown in words


@pytest.mark.parametrize("currency", ["CAD", "CHF"])
def test_other_currency_has_the_plain_reference(
    books: Books, currency: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    make_studio(currency=currency)
    set_bank(books)
    statement = issued(books)
    page = page_of(books, statement)
    assert "RF90 101" in page
    assert "Scan with a bank" not in page
    assert spoken_figures(statement) == []
    assert "RF90 101" in layout_words(statement, monkeypatch)


def test_without_an_iban_there_is_the_plain_reference(books: Books) -> None:
    statement = issued(books)
    page = page_of(books, statement)
    assert "RF90 101" in page
    assert "IBAN" not in page
    assert "Scan with a bank" not in page
    assert spoken_figures(statement) == []


@pytest.mark.parametrize(("paid_minor", "in_favour"), [(600, True), (579, False)])
def test_whoever_owes_nothing_is_asked_for_nothing(
    books: Books, paid_minor: int, in_favour: bool
) -> None:
    set_bank(books)
    statement = issued(books, paid_minor)
    assert statement.content["way_to_pay"]["amount_minor"] == 0
    page = page_of(books, statement)
    assert "nothing to pay" in page
    assert ("in your favour" in page) is in_favour
    assert "How to pay" not in page
    assert "<svg viewBox" not in page
    assert spoken_figures(statement) == []


def test_account_page_shows_where_to_pay_what_is_owed_now(books: Books) -> None:
    set_bank(books)
    issued(books)
    page = text_of(signed_in(books.ada).get("/account/"))
    for words in ("Töpferei Ashbank", "DE89 3704 0044 0532 0130 00", "RF90 101"):
        assert words in page


@pytest.fixture
def old_statement(books: Books) -> Statement:
    """As it was issued before statements froze how to pay: the next number, without those words."""
    set_bank(books)
    now = issued(books)
    content = {**now.content, "number": 3}
    del content["way_to_pay"]
    close = type(now.close).objects.create(
        month=APRIL, closed_at=AFTER_MARCH, closed_by=books.treasurer
    )
    figures = content["totals"]
    return Statement.objects.create(
        number=3,
        account=now.account,
        close=close,
        issued_at=now.issued_at,
        due_on=now.due_on,
        content=content,
        content_hash=content_hash(content),
        **figures,
    )


def test_old_statement_still_shows_what_it_said(books: Books, old_statement: Statement) -> None:
    as_issued = Statement.objects.get(number=3)
    page = page_of(books, as_issued)
    assert "Name account 101 and statement 3." in page
    assert "RF90" not in page
    assert spoken_figures(as_issued) == []
    after = Statement.objects.get(number=3)
    assert after.content_hash == old_statement.content_hash
    assert is_untouched(after)


def test_hash_of_old_content_is_what_it_was() -> None:
    """Pinned: SHA-256 of the canonical JSON, computed with sha256sum outside the project."""
    content = {"how_to_pay": "Cash.", "number": 7, "totals": {"closing_minor": 579}}
    assert content_hash(content) == (
        "f99bca7e07dfc717c0ca7cb53aa581ab756029461fa0995c19a35e7fee63cf3e"
    )


def test_first_step_is_done_with_an_iban_alone(books: Books) -> None:
    set_bank(books, how_to_pay="")
    assert BillingPolicy.current().says_how_to_pay
    set_bank(books, how_to_pay="", iban="")
    assert not BillingPolicy.current().says_how_to_pay
