"""Guessing the layout of a logger's file. The files are invented."""

import pytest

from firings.calculations.log_columns import ColumnMapping, MappedColumn, number_and_unit
from firings.calculations.readings_file import LogFileError, preview_log


def guessed(text: str | bytes) -> list[tuple[str | None, str]]:
    return [(guess.role, guess.unit) for guess in preview_log(text).columns]


@pytest.mark.parametrize(
    ("text", "columns"),
    [
        ("at,temp_c\n2026-03-01T10:00Z,20\n", [("time", "iso"), ("temp", "C")]),
        (
            "Date;Time;Temperature (°C)\n29.03.2026;01:30;20,5\n",
            [("date", "day_first"), ("clock", ""), ("temp", "C")],
        ),
        (
            "Time\tKiln temp F\n03/29/2026 1:30 PM\t1832\n",
            [("time", "month_first"), ("temp", "F")],
        ),
        ("time|temp1 C|temp2 C|temp3 C\n2026-03-01 10:00|1|2|3\n", None),
        (
            "minutes,temp F,set point,output %\n0,70,75,100\n",
            [("elapsed", "min"), ("temp", "F"), ("set_point", "F"), ("duty", "percent")],
        ),
        ("elapsed (h);actual\n0,5;1000\n", [("elapsed", "h"), ("temp", "C")]),
        ("elapsed,temp\n00:05:00,1800\n", [("elapsed", "clock"), ("temp", "F")]),
        (
            "when,kiln,Power (kW),Energy kWh\n2026-03-01 10:00,20,4.2,1000.1\n",
            [("time", "iso"), ("temp", "C"), ("power", "kW"), ("register", "kWh")],
        ),
        (
            "time,temp,SetPoint,watts,meter Wh,duty,room temp,control box temp\n"
            "2026-03-01 10:00,20,25,4200,100,0.5,19,24\n",
            [
                ("time", "iso"),
                ("temp", "C"),
                ("set_point", "C"),
                ("power", "W"),
                ("register", "Wh"),
                ("duty", "fraction"),
                ("room", "C"),
                ("control_box", "C"),
            ],
        ),
        ("2026-03-01 10:00,20,21\n", [("time", "iso"), ("temp", "C"), ("zone2", "C")]),
        ("time,temp,remark\n2026-03-01 10:00,20 C,lid shut\n", None),
    ],
)
def test_columns_are_guessed_from_titles_and_cells(text, columns):
    if columns is None:
        roles = [role for role, _ in guessed(text)]
        assert roles in (["time", "temp", "zone2", "zone3"], ["time", "temp", None])
    else:
        assert guessed(text) == columns


@pytest.mark.parametrize(
    ("text", "delimiter", "decimal_mark"),
    [
        ("time,temp\n2026-03-01 10:00,20.5\n", ",", "."),
        ("time;temp;zone 2\n2026-03-01 10:00;20,5;21,5\n", ";", ","),
        ("time\ttemp\n2026-03-01 10:00\t20,5\n", "\t", ","),
        ("time|temp\n2026-03-01 10:00|20\n", "|", "."),
        ('time,temp\n2026-03-01 10:00,"20,5"\n', ",", ","),
    ],
)
def test_delimiter_and_decimal_mark(text, delimiter, decimal_mark):
    preview = preview_log(text)
    assert (preview.delimiter, preview.decimal_mark) == (delimiter, decimal_mark)


def test_preamble_comments_and_a_line_of_units_are_passed_over():
    preview = preview_log(
        "Log of the front kiln\n# made by hand\n\nTime;Temp;Power\n;°C;kW\n2026-03-01 10:00;20;4\n"
    )
    assert preview.header == ("Time", "Temp °C", "Power kW")
    assert preview.first_line == 6
    assert [guess.unit for guess in preview.columns] == ["iso", "C", "kW"]


def test_first_rows_and_the_number_of_lines():
    rows = "".join(f"2026-03-01 {hour:02}:00,{hour}\n" for hour in range(24)) * 20
    preview = preview_log("time,temp\n" + rows)
    assert preview.line_count == 480
    assert preview.first_rows[0] == ("2026-03-01 00:00", "0")
    assert len(preview.first_rows) == 5


def test_doubtful_guesses_are_told():
    preview = preview_log("time,temp\n03/04/2026 10:00,20\n")
    assert preview.warnings == (
        "The dates of 'time' are read with the day first; check them.",
        "The unit of 'temp' is not named; it is read as C.",
    )
    assert preview_log("name,remark\nfoo,1\n").warnings == (
        "No column seems to hold the temperature; choose it.",
        "No column seems to hold the time; choose it.",
    )


@pytest.mark.parametrize(
    "content",
    [
        "time;température °C\n2026-03-01 10:00;20\n".encode("latin-1"),
        b"\xef\xbb\xbf" + "time;température °C\n2026-03-01 10:00;20\n".encode(),
        "time;température °C\n2026-03-01 10:00;20\n".encode("utf-16"),
    ],
)
def test_bytes_are_decoded_whatever_the_logger_wrote(content):
    assert preview_log(content).header == ("time", "température °C")


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "The file is empty."),
        (b"\n\n# only a remark\n", "The file is empty."),
        (b"time,temp\n", "The file has titles but no readings."),
        (b"PK\x03\x04rest", "This is a spreadsheet or an archive. Save the log as CSV."),
        (b"\x00\x01\x02", "Line 1: This is not a text file. Send the log as CSV."),
    ],
)
def test_what_is_no_log_is_refused(content, message):
    with pytest.raises(LogFileError) as refused:
        preview_log(content)
    assert refused.value.messages == (message,)


@pytest.mark.parametrize(
    ("cell", "found"),
    [
        ("1832 °F", ("1832", "F")),
        ("-1,5", ("-1,5", None)),
        ("3.2kW", ("3.2", "kW")),
        ("55 %", ("55", "percent")),
        ("7 bananas", ("7", "bananas")),
        ("1.234,5", None),
        ("12:30", None),
        ("", None),
    ],
)
def test_numbers_with_units(cell, found):
    assert number_and_unit(cell) == found


@pytest.mark.parametrize(
    ("make", "named"),
    [
        (lambda: MappedColumn(0, "weather"), "role"),
        (lambda: MappedColumn(0, "room", "K"), "unit of room must be one of C, F, got 'K'"),
        (lambda: MappedColumn(-1, "temp", "C"), "index"),
        (lambda: ColumnMapping("x", ".", ()), "delimiter"),
        (lambda: ColumnMapping(",", ";", ()), "decimal_mark"),
        (
            lambda: ColumnMapping(
                ",", ".", (MappedColumn(0, "temp", "C"), MappedColumn(1, "temp", "C"))
            ),
            "another role, got temp twice",
        ),
        (
            lambda: ColumnMapping(
                ",", ".", (MappedColumn(0, "temp", "C"), MappedColumn(0, "room", "C"))
            ),
            "another index, got 0 twice",
        ),
    ],
)
def test_a_mapping_that_cannot_be_names_the_argument(make, named):
    with pytest.raises(ValueError, match=named):
        make()
