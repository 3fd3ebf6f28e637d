"""Tables of banks: guessed, put right, read whole or refused. All files are invented."""

from __future__ import annotations

from datetime import date

import pytest

from billing.calculations.bank_csv import CsvMapping, read_amount, read_bank_csv, read_day
from billing.calculations.bank_csv_guess import preview_bank_csv
from billing.calculations.bank_files import BankFileError

EUROPEAN = """Kontoauszug;;;;;
Zeitraum;April 2026;;;;
Buchungstag;Valuta;Name Zahlungsbeteiligter;Verwendungszweck;Betrag;Waehrung
01.04.26;02.04.26;Ada Rowan;"Konto 101,
danke schön";1.234,56;EUR

02.04.26;02.04.26;Town Works;Strom;-80,00;EUR
""".encode("cp1252")
TWO_COLUMNS = b"""Date,Description,Debit,Credit
2026-04-01,Ada Rowan,,12.50
2026-04-02,Fee,3.00,
"""
PLAIN = CsvMapping(";", ",", "day_first", (("date", 0), ("amount", 1)))


def roles_of(content: bytes) -> list[str | None]:
    return [column.role for column in preview_bank_csv(content, "EUR").columns]


def faults_of(text: str, mapping: CsvMapping = PLAIN) -> tuple[tuple[int, str], ...]:
    with pytest.raises(BankFileError) as error:
        read_bank_csv(text.encode(), mapping, "EUR")
    return error.value.faults


def test_a_european_table_is_understood() -> None:
    preview = preview_bank_csv(EUROPEAN, "EUR")
    assert (preview.delimiter, preview.decimal_mark, preview.date_order) == (";", ",", "day_first")
    assert roles_of(EUROPEAN) == ["date", None, "name", "text", "amount", "currency"]
    assert (preview.first_line, preview.warnings) == (4, ())


def test_it_is_read_by_its_guess_with_the_lines_of_the_file() -> None:
    mapping = preview_bank_csv(EUROPEAN, "EUR").mapping
    first, second = read_bank_csv(EUROPEAN, mapping, "EUR").lines
    assert (first.line, first.booked_on, first.amount_minor) == (4, date(2026, 4, 1), 123456)
    assert (first.counterparty, first.text) == ("Ada Rowan", "Konto 101, danke schön")
    assert (second.line, second.amount_minor) == (7, -8000)


def test_money_in_and_out_may_have_columns_of_their_own() -> None:
    assert roles_of(TWO_COLUMNS) == ["date", "text", "debit", "credit"]
    mapping = preview_bank_csv(TWO_COLUMNS, "EUR").mapping
    assert [line.amount_minor for line in read_bank_csv(TWO_COLUMNS, mapping, "EUR").lines] == [
        1250,
        -300,
    ]


def test_a_table_without_titles_is_guessed_by_what_is_in_it() -> None:
    assert roles_of(b"2026-04-01,Ada Rowan,12.50\n2026-04-02,Fee,-3.00\n") == [
        "date",
        "text",
        "amount",
    ]


def test_days_that_fit_two_orders_are_pointed_out() -> None:
    preview = preview_bank_csv(b"Date,Amount\n01/04/2026,1.00\n02/04/2026,2.00\n", "EUR")
    assert preview.warnings == ("The days could be read in two orders; check the order.",)
    clear = preview_bank_csv(b"Date,Amount\n04/01/2026,1.00\n04/22/2026,2.00\n", "EUR")
    assert (clear.date_order, clear.warnings) == ("month_first", ())


@pytest.mark.parametrize(
    ("text", "mark", "minor"),
    [
        ("1.234,56", ",", 123456),
        ("1,234.56", ".", 123456),
        ("1 234,56", ",", 123456),
        ("1'234.50", ".", 123450),
        ("12,5", ",", 1250),
        ("+12,50", ",", 1250),
        ("-12,50 EUR", ",", -1250),
        ("\N{MINUS SIGN}12,50", ",", -1250),
        ("12,50-", ",", -1250),
        ("1.234", ",", 123400),
        ("0,00", ",", 0),
    ],
)
def test_amounts_as_banks_write_them(text: str, mark: str, minor: int) -> None:
    assert read_amount(text, mark, "EUR") == minor


@pytest.mark.parametrize(
    "text",
    [
        "12.50",
        "1.23,45",
        "12,505",
        "1e3",
        "12,50 CHF",
        "-12,50-",
        "--5",
        "",
        "5,",
        "9" * 13,
        "٥,٠٠x",
    ],
)
def test_amounts_that_are_none(text: str) -> None:
    with pytest.raises(ValueError, match=r"is no amount|decimals|any account"):
        read_amount(text, ",", "EUR")


def test_yen_have_no_decimals() -> None:
    """ISO 4217: JPY has no minor unit."""
    assert read_amount("1,250", ".", "JPY") == 1250
    with pytest.raises(ValueError, match="more than the 0 decimals of JPY"):
        read_amount("12.5", ".", "JPY")


@pytest.mark.parametrize(
    ("text", "order"),
    [
        ("2026-03-31", "iso"),
        ("20260331", "iso"),
        ("2026-03-31", "day_first"),
        ("31.03.2026", "day_first"),
        ("31/3/26", "day_first"),
        ("03/31/2026", "month_first"),
        ("2026-03-31 10:15", "iso"),
    ],
)
def test_days_as_banks_write_them(text: str, order: str) -> None:
    assert read_day(text, order) == date(2026, 3, 31)


@pytest.mark.parametrize(
    ("text", "order"),
    [
        ("31.03.2026", "iso"),
        ("31.03.2026", "month_first"),
        ("30.02.2026", "day_first"),
        ("31.03.026", "day_first"),
        ("31.03-2026", "day_first"),
        ("1926-03-31", "iso"),
        ("", "iso"),
    ],
)
def test_days_that_are_none(text: str, order: str) -> None:
    with pytest.raises(ValueError, match="is no day such as"):
        read_day(text, order)


def test_every_fault_is_told_with_its_line() -> None:
    faults = faults_of("01.04.2026;1,00\n01.04.2026;1.00\n\n32.04.2026;1,00\n01.04.2026\n;")
    assert faults == (
        (2, "'1.00' is no amount with a decimal comma."),
        (
            4,
            "'32.04.2026' is no day such as 31.03.2026: day is out of range for month.",
        ),
        (5, "There are 1 columns; 2 are needed."),
    )


def test_another_currency_is_refused() -> None:
    mapping = CsvMapping(";", ",", "iso", (("date", 0), ("amount", 1), ("currency", 2)))
    faults = faults_of("2026-04-01;1,00;EUR\n2026-04-01;1,00;CHF\n2026-04-01;1,00;", mapping)
    assert faults == ((2, "The amount is in CHF; the studio's books are kept in EUR."),)


def test_a_line_cannot_go_both_ways() -> None:
    mapping = CsvMapping(";", ",", "iso", (("date", 0), ("debit", 1), ("credit", 2)))
    faults = faults_of("2026-04-01;1,00;2,00\n2026-04-01;;\n2026-04-01;;2,00", mapping)
    assert [line for line, _ in faults] == [1, 2]


@pytest.mark.parametrize(
    ("columns", "says"),
    [
        ((("amount", 0),), "day of booking"),
        ((("date", 0),), "holds the amount"),
        ((("date", 0), ("debit", 1)), "holds the amount"),
        ((("date", 0), ("amount", 1), ("credit", 2)), "one column for the amount"),
    ],
)
def test_a_mapping_must_name_day_and_amount(
    columns: tuple[tuple[str, int], ...], says: str
) -> None:
    assert says in faults_of("x", CsvMapping(";", ",", "iso", columns))[0][1]


@pytest.mark.parametrize(
    "changes",
    [
        {"delimiter": "x"},
        {"decimal_mark": "x"},
        {"date_order": "x"},
        {"columns": (("x", 0),)},
        {"columns": (("date", -1),)},
        {"columns": (("date", 0), ("date", 1))},
        {"columns": (("date", 0), ("amount", 0))},
        {"first_line": 0},
    ],
)
def test_a_mapping_that_cannot_be(changes: dict[str, object]) -> None:
    usual = {"delimiter": ";", "decimal_mark": ",", "date_order": "iso", "columns": ()}
    with pytest.raises(ValueError, match=r"must|counted"):
        CsvMapping(**{**usual, **changes})  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "empty"),
        (b"hello", "none has a day in it"),
        (b"PK\x03\x04", "spreadsheet"),
        (b"a\0b", "not a text file"),
        (b'2026-04-01;"' + b"x" * 200_000, "cannot be cut into cells"),
    ],
)
def test_what_is_no_table_is_refused(content: bytes, says: str) -> None:
    with pytest.raises(BankFileError, match=says):
        preview_bank_csv(content, "EUR")


def test_a_table_with_nothing_in_it_is_refused() -> None:
    assert faults_of("\n\n") == ((0, "The file has no line with a payment."),)
