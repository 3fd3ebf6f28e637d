"""camt.053 by the published structure (ISO 20022, versions 2 and 8), and what is refused."""

from __future__ import annotations

from datetime import date

import pytest

from billing.calculations.bank_files import BankFileError, BankLine
from billing.calculations.camt053 import looks_like_xml, read_camt053
from tests.billing.bank_scene import IBAN, Entry, balance, camt, document, statement

ENTITY_BOMB = b"""<?xml version="1.0"?>
<!DOCTYPE a [<!ENTITY b "ha"><!ENTITY c "&b;&b;&b;&b;"><!ENTITY d "&c;&c;&c;&c;">]>
<Document>&d;</Document>"""
OUTSIDE = b"""<?xml version="1.0"?>
<!DOCTYPE a [<!ENTITY b SYSTEM "file:///etc/hostname">]><Document>&b;</Document>"""
FOREIGN_DTD = b"""<!DOCTYPE Document SYSTEM "http://localhost/evil.dtd"><Document/>"""


def read(content: bytes, currency: str = "EUR") -> tuple[BankLine, ...]:
    return read_camt053(content, currency).lines


def faults_of(content: bytes, currency: str = "EUR") -> tuple[tuple[int, str], ...]:
    with pytest.raises(BankFileError) as error:
        read_camt053(content, currency)
    return error.value.faults


def test_a_line_says_day_amount_reference_words_and_who() -> None:
    (line,) = read(camt(Entry(text="March, with thanks", reference="RF18539007547034")))
    assert (line.booked_on, line.amount_minor, line.currency) == (date(2026, 4, 1), 579, "EUR")
    assert line.reference == "RF18539007547034"
    assert (line.text, line.counterparty) == ("March, with thanks", "Ada Rowan")
    assert read_camt053(camt(Entry()), "EUR").accounts == (IBAN,)


def test_money_out_is_negative_and_names_who_was_paid() -> None:
    (line,) = read(camt(Entry(sign="DBIT", amount="80.00", name="Town works")))
    assert (line.amount_minor, line.counterparty) == (-8000, "Town works")


def test_version_2_has_other_places_for_status_names_and_amounts() -> None:
    old = camt(Entry(status="BOOK")).replace(b"<Pty>", b"").replace(b"</Pty>", b"")
    (line,) = read(old.replace(b"001.08", b"001.02"))
    assert (line.amount_minor, line.counterparty) == (579, "Ada Rowan")


def test_end_to_end_number_stands_in_for_a_reference() -> None:
    lines = read(camt(Entry(end_to_end="ADA-MARCH"), Entry(end_to_end="NOTPROVIDED")))
    assert [line.reference for line in lines] == ["ADA-MARCH", ""]


def test_what_is_only_announced_is_left_out_and_told() -> None:
    found = read_camt053(camt(Entry(), Entry(status="<Cd>PDNG</Cd>")), "EUR")
    assert len(found.lines) == 1
    assert "1 line is announced and not booked yet" in found.warnings[0]


def test_a_gathered_entry_is_parted_into_its_transactions() -> None:
    parts = "".join(
        f"<TxDtls><Amt Ccy='EUR'>{amount}</Amt><RmtInf><Ustrd>{name}</Ustrd></RmtInf></TxDtls>"
        for amount, name in (("3.00", "first"), ("2.79", "second"))
    )
    entry = Entry().xml()
    start, end = entry.index("<TxDtls>"), entry.index("</NtryDtls>")
    gathered = document(statement(extra=f"{entry[:start]}{parts}{entry[end:]}"))
    assert [(line.amount_minor, line.text) for line in read(gathered)] == [
        (300, "first"),
        (279, "second"),
    ]
    unclear = gathered.replace(b"2.79", b"2.78")
    found = read_camt053(unclear, "EUR")
    assert [line.amount_minor for line in found.lines] == [579]
    assert "gathers 2 transactions" in found.warnings[0]


# --- CLBD = OPBD + booked entries; OPBD = CLBD before (ISO 20022 camt.053) ---------------------


@pytest.mark.parametrize("opening", ["100.00", "-20.00", "0.00"])
def test_balances_that_add_up_say_nothing(opening: str) -> None:
    cents = round(float(opening) * 100) + 579 - 8000
    closing = f"{'-' if cents < 0 else ''}{abs(cents) / 100:.2f}"
    entries = (Entry(), Entry(sign="DBIT", amount="80.00"), Entry(status="<Cd>PDNG</Cd>"))
    found = read_camt053(camt(*entries, opening=opening, closing=closing), "EUR")
    assert not any("add up" in warning for warning in found.warnings)


def test_a_missing_line_shows_in_the_balances() -> None:
    found = read_camt053(camt(Entry(), opening="100.00", closing="110.79"), "EUR")
    assert found.warnings == (
        "Statement 2026-07 does not add up: opening balance €100.00 and booked lines of €5.79 "
        "make €105.79, but its closing balance is €110.79. Lines may be missing; ask the bank.",
    )


def test_the_older_name_of_the_opening_balance_counts() -> None:
    content = document(statement(Entry(), extra=balance("PRCD", "1.00") + balance("CLBD", "6.79")))
    assert read_camt053(content, "EUR").warnings == ()


def test_a_statement_without_balances_cannot_be_checked() -> None:
    (warning,) = read_camt053(document(statement(Entry())), "EUR").warnings
    assert "nobody can check" in warning


def test_statements_must_follow_on_each_other() -> None:
    first = statement(Entry(), opening="100.00", closing="105.79", name="1")
    second = statement(Entry(), opening="105.79", closing="111.58", name="2")
    gap = statement(Entry(), opening="105.80", closing="111.59", name="2")
    assert read_camt053(document(first, second), "EUR").warnings == ()
    (warning,) = read_camt053(document(first, gap), "EUR").warnings
    assert "opens with €105.80, but the one before closed with €105.79" in warning


# --- Which line is which ------------------------------------------------------------------------


def test_the_same_line_has_the_same_number_in_any_file() -> None:
    (alone,) = read(camt(Entry(text="March")))
    among = read(camt(Entry(amount="1.00"), Entry(text="March"), name="other"))
    assert among[1].bank_id == alone.bank_id
    assert among[0].bank_id != alone.bank_id


def test_two_lines_that_are_alike_are_two() -> None:
    first, second = read(camt(Entry(), Entry()))
    assert first.bank_id != second.bank_id


def test_the_banks_own_number_counts_more_than_the_words() -> None:
    (one,) = read(camt(Entry(text="March", bank_reference="B1")))
    (same,) = read(camt(Entry(text="MARCH ", bank_reference="B1")))
    (other,) = read(camt(Entry(text="March", bank_reference="B2")))
    assert one.bank_id == same.bank_id != other.bank_id


# --- Refused ------------------------------------------------------------------------------------


@pytest.mark.parametrize("content", [ENTITY_BOMB, OUTSIDE, FOREIGN_DTD])
def test_document_types_and_entities_are_refused(content: bytes) -> None:
    ((_, message),) = faults_of(content)
    assert "document type or entities" in message


def test_the_same_without_its_danger_is_read() -> None:
    """What is refused above is the document type: the plain file beside it is not."""
    plain = camt(Entry(text="&lt;b&gt; &amp; &#233;"))
    assert read(plain)[0].text == "<b> & é"
    with_type = plain.replace(b"<Document", b"<!DOCTYPE Document><Document", 1)
    assert "document type" in faults_of(with_type)[0][1]


def test_bottomless_nesting_is_refused_before_it_is_built() -> None:
    ((line, message),) = faults_of(b"<Document>\n" + b"<a>" * 100_000)
    assert (line, "more than 40 deep" in message) == (2, True)


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"<Document>", "no whole XML: no element found"),
        (camt(Entry())[:900], "no whole XML"),
        (b"<html><body/></html>", "no account statement in camt.053: it holds body"),
        (camt(Entry()).replace(b"BkToCstmrStmt", b"BkToCstmrAcctRpt"), "it holds BkToCstmrAcctRpt"),
        (camt(Entry()).replace(b"UTF-8", b"shift_jis"), "encoding is not known"),
        (camt(Entry()).replace(b"UTF-8", b"x-none"), "encoding is not known"),
        (camt(Entry()).replace(b"Ada", b"\xff"), "no whole XML: not well-formed"),
    ],
)
def test_what_is_no_statement_is_refused(content: bytes, says: str) -> None:
    assert says in faults_of(content)[0][1]


def test_every_fault_is_told_with_its_line() -> None:
    content = camt(Entry(amount="5.799"), Entry(on="31.03.2026"), Entry(currency="CHF"), Entry())
    lines = content.decode().splitlines()
    faults = faults_of(content)
    assert [message for _, message in faults] == [
        "'5.799' is no amount.",
        "'31.03.2026' is no day of booking such as 2026-03-31.",
        "The amount is in CHF; the studio's books are kept in EUR.",
    ]
    assert "5.799" in lines[faults[0][0] - 1]
    assert "<Ntry>" in lines[faults[1][0] - 1]
    assert 'Ccy="CHF"' in lines[faults[2][0] - 1]


def test_another_currency_is_refused_and_the_right_one_taken() -> None:
    assert "books are kept in CHF" in faults_of(camt(Entry()), "CHF")[0][1]
    assert len(read(camt(Entry()), "EUR")) == 1


def test_the_same_statement_twice_in_a_file_is_refused() -> None:
    one = statement(Entry())
    assert "stands on line" in faults_of(document(one, one))[0][1]


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ((b"<CdtDbtInd>CRDT</CdtDbtInd>\n        <Sts>", b"<Sts>"), "CRDT or DBIT"),
        ((b"<Sts><Cd>BOOK</Cd></Sts>", b""), "whether it is booked"),
        ((b">5.79<", b">-5.79<"), "'-5.79' is no amount."),
        ((b">5.79<", b">1e3<"), "'1e3' is no amount."),
        ((b"<BookgDt><Dt>2026-04-01</Dt></BookgDt>", b""), "Nothing is no day"),
    ],
)
def test_an_entry_that_lacks_something_is_refused(changed: tuple[bytes, bytes], says: str) -> None:
    content = camt(Entry())
    assert content.count(changed[0]) == 1
    assert says in faults_of(content.replace(*changed))[0][1]


def test_what_moves_nothing_is_left_out() -> None:
    found = read_camt053(camt(Entry(amount="0.00"), Entry()), "EUR")
    assert len(found.lines) == 1
    assert "moves no money" in found.warnings[0]


def test_xml_is_told_by_its_beginning() -> None:
    assert looks_like_xml(b"\xef\xbb\xbf <?xml")
    assert looks_like_xml("<?xml".encode("utf-16"))
    assert not looks_like_xml(b"Date;Amount\n")


def test_utf_16_is_read() -> None:
    content = camt(Entry(name="Ódon Šťastný")).decode().replace("UTF-8", "UTF-16")
    assert read(content.encode("utf-16"))[0].counterparty == "Ódon Šťastný"
