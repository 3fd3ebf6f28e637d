"""The PDF is read with pikepdf and held against what PDF/UA-1 (ISO 14289-1) asks for."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from io import BytesIO
from typing import Any

import pikepdf
import pytest
from django.db import transaction

from billing.actions.close_month import close_month
from billing.actions.payments import give_credit, record_payment
from billing.actions.price_firing import post_firing_cost
from billing.models import Statement
from billing.statement_pdf import render_statement_pdf
from tests.billing.conftest import Books
from tests.billing.scene import AFTER_MARCH, MARCH, NOON, make_studio


@pytest.fixture
def statement(books: Books) -> Statement:
    make_studio(address="12 Kiln Lane\nAshbank", contact_email="books@ashbank.example")
    with transaction.atomic():
        post_firing_cost(books.firing(), books.manager, NOON)
    record_payment(
        by=books.treasurer,
        at=NOON,
        account=books.ada_account,
        received_on=NOON.date(),
        amount_minor=200,
        method="bank",
        reference="#strong[not markup] $x^2$",
    )
    give_credit(
        by=books.treasurer, at=NOON, account=books.ada_account, amount_minor=9, reason="a chip"
    )
    close_month(by=books.treasurer, at=AFTER_MARCH, month=MARCH)
    return Statement.objects.get(number=1)


def opened(document: bytes) -> pikepdf.Pdf:
    return pikepdf.open(BytesIO(document))


def tags(element: Any) -> Iterator[str]:
    """The structure types of a tagged document, depth first."""
    if isinstance(element, pikepdf.Array):
        for child in element:
            yield from tags(child)
    elif isinstance(element, pikepdf.Dictionary):
        if "/S" in element:
            yield str(element.S)
        if "/K" in element:
            yield from tags(element.K)


def test_pdf_is_tagged_titled_and_in_its_language(statement: Statement) -> None:
    with opened(render_statement_pdf(statement)) as pdf:
        assert pdf.Root.MarkInfo.Marked
        assert str(pdf.Root.Lang) == "en"
        assert pdf.Root.ViewerPreferences.DisplayDocTitle
        with pdf.open_metadata() as metadata:
            assert metadata["pdfuaid:part"] == "1"
            assert metadata["dc:title"] == "Statement 1 for March 2026"
        assert [float(side) for side in pdf.pages[0].MediaBox][2:] == pytest.approx(
            [595.28, 841.89], abs=0.01
        )


def test_headings_and_tables_are_marked_as_such(statement: Statement) -> None:
    with opened(render_statement_pdf(statement)) as pdf:
        found = Counter(tags(pdf.Root.StructTreeRoot.K))
    assert found["/H1"] == 1
    assert found["/Table"] == 3  # balance, firings, payments and credits
    assert found["/TH"] == 2 + 5 + 4
    assert found["/H2"] == 4


@pytest.mark.parametrize("language", ["en-001", "zh-Hans-CN", "sr-Latn", "de@euro"])
def test_every_language_of_the_settings_has_its_pdf(books: Books, language: str) -> None:
    """Typst takes two letters for a region; CLDR also knows 001 (the world) and scripts."""
    make_studio(language=language)
    with transaction.atomic():
        post_firing_cost(books.firing(), books.manager, NOON)
    close_month(by=books.treasurer, at=AFTER_MARCH, month=MARCH)
    assert render_statement_pdf(Statement.objects.get(number=1)).startswith(b"%PDF")


@pytest.mark.parametrize(
    "name", ["\u4e2d\u6751 \u9676\u5b50", "Ada \U0001f642", "\u0e44\u0e17\u0e22"]
)
def test_every_name_has_its_pdf(books: Books, name: str) -> None:
    """Names in scripts that the fonts we carry do not know: Japanese, Thai, a picture."""
    books.ada_account.name = name
    books.ada_account.save()
    with transaction.atomic():
        post_firing_cost(books.firing(), books.manager, NOON)
    close_month(by=books.treasurer, at=AFTER_MARCH, month=MARCH)
    with opened(render_statement_pdf(Statement.objects.get(number=1))) as pdf:
        assert pdf.Root.MarkInfo.Marked


def test_same_content_gives_the_same_bytes(statement: Statement) -> None:
    first = render_statement_pdf(statement)
    make_studio(name="Renamed since", currency="USD")
    assert render_statement_pdf(Statement.objects.get(number=1)) == first


@pytest.mark.parametrize("opening_minor", [-1000, 0])
def test_statement_in_the_members_favour_asks_for_nothing(
    statement: Statement, opening_minor: int
) -> None:
    content = statement.content
    closing_minor = opening_minor
    content["lines"] = []
    content["totals"] = {
        "opening_minor": opening_minor,
        "charges_minor": 0,
        "credits_minor": 0,
        "payments_minor": 0,
        "closing_minor": closing_minor,
    }
    with opened(render_statement_pdf(statement)) as pdf:
        assert Counter(tags(pdf.Root.StructTreeRoot.K))["/H2"] == 0


@pytest.mark.parametrize("language", ["de-DE", "fr"])
def test_other_languages_format_their_own_numbers(statement: Statement, language: str) -> None:
    statement.content["language"] = language
    with opened(render_statement_pdf(statement)) as pdf:
        assert str(pdf.Root.Lang) == language
