"""The QR code of EPC069-12 v2.1: what it holds, line by line, and how it is drawn."""

from __future__ import annotations

from dataclasses import replace

import pytest
import segno
from hypothesis import given
from hypothesis import strategies as st
from segno import helpers

from billing.calculations.bank_details import PAYEE_BYTES_MAX, read_payee
from billing.calculations.payment_references import reference_of
from billing.calculations.way_to_pay import (
    AMOUNT_MINOR_MAX,
    WayToPay,
    qr_svg_document,
    transfer_qr,
    way_to_pay_in,
)

REFERENCE = "RF18539007547034"

# Two published payloads, line by line, with their own text and version:
# A from the manual of segno, B from the encyclopedia's article on the code.
PAYLOAD_A = (
    "BCD|002|2|SCT||Wikimedia Foerdergesellschaft|DE33100205000001194700|EUR20|||"
    "Spende fuer Wikipedia"
)
PAYLOAD_B = (
    "BCD|001|1|SCT|BPOTBEB1|Red Cross of Belgium|BE72000000001616|EUR1|CHAR||Urgency fund|"
    "Sample EPC QR code"
)
# The sample values of the guideline itself.
GUIDELINE = WayToPay(
    payee_name="Franz Mustermänn",
    iban="DE71110220330123456789",
    bic="BHBLDEHHXXX",
    reference=REFERENCE,
    amount_minor=1230,
    currency="EUR",
)


def payload_lines(way: WayToPay, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """What was given to the encoder, read back by the character set that its line 3 names."""
    given_bytes: list[bytes] = []
    encode = segno.make_qr

    def spy(content: bytes, **options: object) -> segno.QRCode:
        given_bytes.append(content)
        return encode(content, **options)

    monkeypatch.setattr(segno, "make_qr", spy)
    assert transfer_qr(way) is not None
    (content,) = given_bytes
    assert content.split(b"\n")[2] == b"1"  # table of the guideline: 1 is UTF-8
    assert len(content) <= 331
    return content.decode().split("\n")


def ours(published: str) -> list[str]:
    """A published payload with version, character set and reference as we write them.

    Version 002 (BIC may be left out), 1 for UTF-8, no purpose, and the structured reference
    (element 10) in place of free text and note (11, 12), which never stand beside it.
    """
    lines = published.split("|")
    return [lines[0], "002", "1", *lines[3:8], "", REFERENCE]


def test_payload_of_the_segno_manual(monkeypatch: pytest.MonkeyPatch) -> None:
    way = WayToPay(
        "Wikimedia Foerdergesellschaft", "DE33100205000001194700", "", REFERENCE, 2000, "EUR"
    )
    assert payload_lines(way, monkeypatch) == ours(PAYLOAD_A)


def test_payload_of_the_encyclopedia(monkeypatch: pytest.MonkeyPatch) -> None:
    way = WayToPay("Red Cross of Belgium", "BE72000000001616", "BPOTBEB1", REFERENCE, 100, "EUR")
    assert payload_lines(way, monkeypatch) == ours(PAYLOAD_B)


def test_encoder_writes_the_published_payload_whole() -> None:
    """The library's own code of payload A against the bare 97 bytes as published."""
    published = PAYLOAD_A.replace("|", "\n").encode()
    assert (len(published), published.count(b"\n")) == (97, 10)
    code = helpers.make_epc_qr(
        name="Wikimedia Foerdergesellschaft",
        iban="DE33100205000001194700",
        amount=20,
        text="Spende fuer Wikipedia",
    )
    assert code == segno.make_qr(published, error="m", boost_error=False)


def test_sample_values_of_the_guideline(monkeypatch: pytest.MonkeyPatch) -> None:
    assert payload_lines(GUIDELINE, monkeypatch) == [
        "BCD",
        "002",
        "1",
        "SCT",
        "BHBLDEHHXXX",
        "Franz Mustermänn",
        "DE71110220330123456789",
        "EUR12.3",
        "",
        REFERENCE,
    ]


@pytest.mark.parametrize(
    ("amount_minor", "written"),
    [(1, "EUR0.01"), (10, "EUR0.1"), (10_000, "EUR100"), (AMOUNT_MINOR_MAX, "EUR999999999.99")],
)
def test_amount_is_written_with_a_dot(
    amount_minor: int, written: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """EPC069-12: EUR, then 0.01 to 999999999.99."""
    assert payload_lines(replace(GUIDELINE, amount_minor=amount_minor), monkeypatch)[7] == written


@pytest.mark.parametrize(
    "changes",
    [
        {"currency": "CAD"},
        {"iban": ""},
        {"payee_name": ""},
        {"amount_minor": 0},
        {"amount_minor": AMOUNT_MINOR_MAX + 1},
        {"iban": "CH9300762011623852957", "bic": ""},
    ],
)
def test_without_a_euro_transfer_there_is_no_code(changes: dict[str, object]) -> None:
    assert transfer_qr(replace(GUIDELINE, **changes)) is None


def test_bank_outside_the_area_has_a_code_with_its_bic() -> None:
    swiss = replace(GUIDELINE, iban="CH9300762011623852957", bic="POFICHBEXXX")
    assert transfer_qr(swiss) is not None


@given(
    payee=st.text(st.characters(codec="utf-8", categories=["L", "N", "P"]), min_size=1, max_size=70)
    .filter(lambda name: len(name.encode()) <= PAYEE_BYTES_MAX)
    .map(read_payee)
    .filter(bool),
    iban=st.sampled_from(["DE71110220330123456789", "MT84MALT011000012345MTLCAST001S"]),
    account_number=st.integers(1, 10**21 - 1),
    amount_minor=st.integers(1, AMOUNT_MINOR_MAX),
)
def test_whatever_the_settings_take_becomes_a_code(
    payee: str, iban: str, account_number: int, amount_minor: int
) -> None:
    """EPC069-12: level M, at most version 13, never more than 331 bytes."""
    reference = reference_of(account_number)
    way = WayToPay(payee, iban, "BHBLDEHHXXX", reference, amount_minor, "EUR")
    code = transfer_qr(way)
    assert code is not None
    assert code.error == "M"
    assert int(code.version) <= 13


def test_drawing_is_a_document_with_its_quiet_zone() -> None:
    code = transfer_qr(GUIDELINE)
    assert code is not None
    drawing = qr_svg_document(code)
    modules = 17 + 4 * int(code.version) + 2 * 4  # ISO/IEC 18004: size, and four modules around
    assert drawing.startswith('<svg xmlns="http://www.w3.org/2000/svg"')
    assert f'viewBox="0 0 {modules} {modules}"' in drawing


def test_statement_of_before_says_nothing() -> None:
    assert way_to_pay_in({"how_to_pay": "Cash."}) is None
    assert way_to_pay_in({"way_to_pay": vars(GUIDELINE)}) == GUIDELINE


def test_people_read_it_in_groups() -> None:
    assert GUIDELINE.iban_in_groups == "DE71 1102 2033 0123 4567 89"
    assert GUIDELINE.reference_in_groups == "RF18 5390 0754 7034"
