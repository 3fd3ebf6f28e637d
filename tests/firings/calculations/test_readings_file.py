"""Taking a logger's file in, whole or not at all. The files are invented."""

import json
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from unittest import mock
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firings.calculations import log_lines, log_stream
from firings.calculations.log_columns import ColumnMapping, MappedColumn
from firings.calculations.readings import Reading
from firings.calculations.readings_file import (
    LogFileError,
    parse_log,
    preview_log,
    read_log,
)

# Clock changes of 2026 in Berlin: 29 March 02:00 to 03:00, 25 October 03:00 to 02:00 (Directive
# 2000/84/EC: the last Sundays of March and October at 01:00 UTC; zone data by IANA).
BERLIN = ZoneInfo("Europe/Berlin")
STARTED_AT = datetime(2026, 3, 1, 8, 0, tzinfo=UTC)


def parse(text: str | bytes, **options) -> list[Reading]:
    return parse_log(text, preview_log(text).mapping(), BERLIN, **options)


def faults(text: str | bytes, **options) -> tuple[str, ...]:
    with pytest.raises(LogFileError) as refused:
        parse(text, **options)
    return refused.value.messages


def utc(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


@pytest.mark.parametrize(
    ("written", "at"),
    [
        ("2026-03-01 10:00", "2026-03-01 09:00"),
        ("2026-03-01T10:00:30", "2026-03-01 09:00:30"),
        ("2026-03-01T10:00:00.250Z", "2026-03-01 10:00:00.250"),
        ("2026-03-01T10:00:00+05:30", "2026-03-01 04:30"),
        ("2026/3/1 9:05", "2026-03-01 08:05"),
        ("29.03.2026 01:30", "2026-03-29 00:30"),
        ("29.03.2026 03:00", "2026-03-29 01:00"),
        ("31/03/2026 23:59:59", "2026-03-31 21:59:59"),
        ("03/29/2026 1:30 PM", "2026-03-29 11:30"),
        ("03/29/2026 12:30 AM", "2026-03-28 23:30"),
        ("07/15/2026 12:00 pm", "2026-07-15 10:00"),
    ],
)
def test_moments_are_read_in_the_time_zone_of_the_studio(written, at):
    assert [reading.at for reading in parse(f"time;temp\n{written};20\n")] == [utc(at)]


def test_date_and_time_in_two_columns():
    text = "Date;Time;Temp (°C)\n28.03.2026;23:30;20,5\n29.03.2026;03:30;21\n"
    assert [(reading.at, reading.temp_c) for reading in parse(text)] == [
        (utc("2026-03-28 22:30"), 20.5),
        (utc("2026-03-29 01:30"), 21.0),
    ]


@pytest.mark.parametrize(
    ("title", "cells", "seconds"),
    [
        ("minutes", ("0", "2.5"), (0, 150)),
        ("elapsed (h)", ("0.5", "30"), (1800, 108_000)),
        ("seconds", ("1", "61"), (1, 61)),
        ("elapsed", ("00:00:05", "26:00:00"), (5, 93_600)),
        ("elapsed", ("00:05", "01:30"), (300, 5400)),
    ],
)
def test_time_since_the_start(title, cells, seconds):
    text = f"{title},temp\n{cells[0]},20\n{cells[1]},30\n"
    found = [reading.at for reading in parse(text, started_at=STARTED_AT)]
    assert found == [STARTED_AT + timedelta(seconds=second) for second in seconds]


def test_every_quantity_is_stored_in_its_unit():
    text = (
        "time,temp F,zone 2 F,zone 3 F,set point F,power kW,duty %,energy kWh,room F,box F\n"
        "2026-03-01 10:00,212,32,-40,1832,4.5,55,1000.5,68,86\n"
    )
    (reading,) = parse(text)
    # 212 F boiling, 32 F freezing, -40 the same in both: the definition of the scale (NIST SP
    # 811, B.8).
    assert (reading.temp_c, reading.zone2_c) == (pytest.approx(100), 0)
    assert (reading.zone3_c, reading.set_point_c) == (pytest.approx(-40), pytest.approx(1000))
    assert (reading.power_w, reading.duty) == (4500, pytest.approx(0.55))
    assert reading.register_wh == pytest.approx(1_000_500)
    assert (reading.room_c, reading.control_box_c) == (pytest.approx(20), pytest.approx(30))


def test_empty_cells_are_no_value_but_a_temperature_is_needed():
    text = "time,temp,power W\n2026-03-01 10:00,20,\n2026-03-01 10:05,21,n/a\n"
    assert [reading.power_w for reading in parse(text)] == [None, None]
    assert faults("time,temp\n2026-03-01 10:00,20\n2026-03-01 10:05,\n") == (
        "Line 3: There is no temperature.",
    )


def test_lines_may_come_one_by_one():
    lines = [b"\xef\xbb\xbftime,temp C\r\n", b"2026-03-01 10:00,20\r\n", b"\r\n"]
    mapping = preview_log(lines).mapping()
    assert [reading.temp_c for reading in parse_log(iter(lines), mapping, BERLIN)] == [20.0]


BAD_FILES = [
    (
        "mixed units",
        "time,temp\n2026-03-01 10:00,1000 C\n2026-03-01 10:05,1832 F\n",
        (
            "Line 3: The temperature '1832 F' mixes units: line 2 is in C. "
            "Send one unit in each column.",
        ),
    ),
    (
        "unit against the title",
        "time,temp C\n2026-03-01 10:00,1832 F\n",
        ("Line 2: The temperature '1832 F' is in F, but is read as C.",),
    ),
    (
        "same time twice",
        "time,temp\n2026-03-01 10:00,20\n2026-03-01 10:05,21\n2026-03-01 10:00,20\n",
        ("Line 4: The time is the same as on line 2.",),
    ),
    (
        "disorder",
        "time,temp\n2026-03-01 10:05,20\n2026-03-01 10:00,21\n",
        ("Line 3: The time is earlier than on line 2. Sort the file, or ask for it to be sorted.",),
    ),
    (
        "no number",
        "time,temp\n2026-03-01 10:00,20\n2026-03-01 10:05,error\n",
        ("Line 3: The temperature 'error' is no number.",),
    ),
    (
        "decimal comma among points",
        'time,temp,zone\n2026-03-01 10:00,20.5,1.5\n2026-03-01 10:05,"20,5",1.5\n',
        ("Line 3: The temperature '20,5' is no number with a decimal point.",),
    ),
    (
        "too few columns",
        "time,temp,power W\n2026-03-01 10:00,20,1\n2026-03-01 10:05,20\n",
        ("Line 3: There are 2 columns; 3 are needed.",),
    ),
    (
        "no date",
        "time,temp\n2026-03-01 10:00,20\n2026-02-30 10:00,20\n2026-03-01,20\n",
        (
            "Line 3: '2026-02-30 10:00' is no date and time: day is out of range for month.",
            "Line 4: '2026-03-01' is no date and time such as 2026-03-29 13:30.",
        ),
    ),
    (
        "13 PM",
        "time,temp\n03/29/2026 1:00 PM,20\n03/29/2026 13:30 PM,20\n",
        (
            "Line 3: '03/29/2026 13:30 PM' is no date and time: "
            "hours with AM or PM go from 1 to 12.",
        ),
    ),
    (
        "a year of two digits",
        "time,temp\n29.03.2026 13:00,20\n29.03.26 13:30,20\n",
        ("Line 3: '29.03.26 13:30' is no date and time: the year must have four digits.",),
    ),
    (
        "a clock that was lost",
        "time,temp\n1970-01-01 00:00,20\n2026-03-01 10:00+25:00,20\n",
        (
            "Line 2: '1970-01-01 00:00' is no date and time: "
            "the year must lie between 2000 and 2100.",
            "Line 3: '2026-03-01 10:00+25:00' is no date and time: "
            "the offset from UTC must be less than a day.",
        ),
    ),
    (
        "a time that the clock skips in spring",
        "time,temp\n2026-03-29 01:55,20\n2026-03-29 02:30,21\n2026-03-29 03:00,22\n",
        (
            "Line 3: 2026-03-29 02:30 does not exist in Europe/Berlin: the clock was set forward "
            "that night. Send times with their offset from UTC, or check the time zone.",
        ),
    ),
    (
        "a time that comes twice in autumn, seen once",
        "time,temp\n2026-10-25 01:30,20\n2026-10-25 02:30,21\n2026-10-25 03:30,22\n",
        (
            "Line 3: 2026-10-25 02:30 comes twice in Europe/Berlin: the clock was set back that "
            "night, and the file does not show which of the two it is. Send times with their "
            "offset from UTC, or as time since the start.",
        ),
    ),
    (
        "a meter that runs backwards",
        "time,temp,meter kWh\n2026-03-01 10:00,20,100.5\n2026-03-01 10:05,20,\n"
        "2026-03-01 10:10,20,99.5\n",
        ("Line 4: The meter runs backwards: 99.5 kWh, after 100.5 kWh on line 2.",),
    ),
]


@pytest.mark.parametrize(
    ("text", "messages"), [row[1:] for row in BAD_FILES], ids=[row[0] for row in BAD_FILES]
)
def test_bad_files_are_refused_with_the_line(text, messages):
    assert faults(text) == messages


def test_values_that_cannot_be_true_are_refused_with_the_line():
    text = "time,temp C,duty %\n2026-03-01 10:00,20,55\n2026-03-01 10:05,9000,155\n"
    told = faults(text)
    assert len(told) == 2
    assert all(message.startswith("Line 3: ") for message in told)


def test_missing_columns_are_named():
    mapping = ColumnMapping(",", ".", (MappedColumn(0, "power", "W"),))
    with pytest.raises(LogFileError) as refused:
        parse_log("1,2\n", mapping, BERLIN)
    assert refused.value.messages == (
        "Say which column holds the time (or a date and a clock time, or the time since the "
        "start) and which the temperature.",
    )


def test_elapsed_time_needs_the_start():
    assert faults("minutes,temp\n0,20\n") == (
        "The file counts from the start of the firing: say when the firing started.",
    )
    with pytest.raises(ValueError, match="started_at must be aware"):
        parse("minutes,temp\n0,20\n", started_at=STARTED_AT.replace(tzinfo=None))
    assert faults("minutes,temp\n0,20\n1000000,30\n", started_at=STARTED_AT) == (
        "Line 3: '1000000' is more than 30 days after the start.",
    )


def test_only_twenty_faults_are_shown_and_the_rest_counted():
    rows = "".join(f"2026-03-01 10:{minute:02},hot\n" for minute in range(50))
    with pytest.raises(LogFileError) as refused:
        parse("time,temp\n2026-03-01 09:00,20\n" + rows)
    assert (len(refused.value.faults), refused.value.count) == (20, 50)
    assert refused.value.messages[-1] == "And 30 more."


def test_disorder_is_sorted_when_asked():
    text = "time,temp\n2026-03-01 10:05,20\n2026-03-01 10:00,21\n"
    assert [reading.temp_c for reading in parse(text, allow_disorder=True)] == [21.0, 20.0]


def test_duplicates_are_refused_even_when_sorting():
    text = "time,temp\n2026-03-01 10:05,20\n2026-03-01 10:00,21\n2026-03-01 10:05,20\n"
    assert faults(text, allow_disorder=True) == ("Line 4: The time is the same as on line 2.",)


def test_the_hour_that_comes_twice_is_settled_by_order():
    local = ("01:30", "02:00", "02:30", "02:00", "02:30", "03:00")
    text = "time,temp\n" + "".join(f"2026-10-25 {clock},20\n" for clock in local)
    log = read_log(text, preview_log(text).mapping(), BERLIN)
    first = utc("2026-10-24 23:30")
    assert [reading.at for reading in log.readings] == [
        first + timedelta(minutes=30 * number) for number in range(6)
    ]
    assert log.warnings == (
        "The clock was set back that night: line 5 is read as the beginning of the second pass "
        "through the hour.",
    )


def test_the_hour_that_comes_twice_cannot_be_settled_without_order():
    text = "time,temp\n2026-10-25 02:30,20\n2026-10-25 02:00,21\n"
    assert "comes twice" in faults(text, allow_disorder=True)[0]


def test_too_many_rows_are_refused(monkeypatch):
    monkeypatch.setattr(log_lines, "MAX_LOG_ROWS", 3)
    rows = "".join(f"2026-03-01 10:0{minute},20\n" for minute in range(4))
    assert faults("time,temp\n" + rows) == (
        "Line 5: The file has more than 3 rows. Send it in parts.",
    )


@settings(max_examples=50, deadline=None)
@given(
    st.lists(st.integers(0, 86_400 * 365), min_size=1, max_size=40, unique=True),
    st.sampled_from(";\t|"),
    st.booleans(),
)
def test_what_is_written_with_offsets_is_read_back(seconds, delimiter, has_comma):
    expected = [
        (datetime(2026, 1, 1, tzinfo=UTC) + timedelta(seconds=second), second % 1300 + 0.25)
        for second in sorted(seconds)
    ]
    lines = [f"time{delimiter}temp C\n"]
    for at, temp_c in expected:
        number = str(temp_c).replace(".", "," if has_comma else ".")
        lines.append(f"{at.astimezone(BERLIN).isoformat()}{delimiter}{number}\n")
    assert [(reading.at, reading.temp_c) for reading in parse("".join(lines))] == expected


@settings(max_examples=100, deadline=None)
@given(
    st.one_of(
        st.binary(max_size=300),
        st.text(max_size=300),
        st.text(alphabet='0123456789-:;,. "#\n\tTCFkW%', max_size=300),
    )
)
def test_any_content_is_read_or_refused_but_never_breaks(content):
    with suppress(LogFileError):
        assert parse(content, started_at=STARTED_AT)


def test_millivolts_are_read_with_their_cold_junction():
    # Source: NIST Monograph 175: type K at 1000 C with its terminal at 25 C gives 40.275 mV, and
    # type S 10.000 mV with its terminal at 0 C is 1035.61 C.
    columns = (
        MappedColumn(0, "time", "iso"),
        MappedColumn(1, "temp", "mV K"),
        MappedColumn(2, "zone2", "mV S"),
        MappedColumn(3, "cold_junction", "C"),
    )
    text = "2026-03-01 10:00;40.275;9.857;25\n2026-03-01 10:05;40.275 mV;10.000;0\n"
    log = parse_log(text, ColumnMapping(";", ".", columns), BERLIN)
    assert [round(r.temp_c, 0) for r in log] == [1000, 974]
    assert [round(r.zone2_c, 1) for r in log] == [1035.6, 1035.6]


def test_millivolts_with_a_fixed_cold_junction_and_without_any():
    columns = (MappedColumn(0, "time", "iso"), MappedColumn(1, "temp", "mV K"))
    text = "2026-03-01 10:00;40.275\n2026-03-01 10:05;99\n"
    with pytest.raises(LogFileError, match="choose the column of the cold junction"):
        parse_log(text, ColumnMapping(";", ".", columns), BERLIN)
    fixed = ColumnMapping(";", ".", columns, cold_junction_c=25.0)
    assert round(parse_log(text[:24], fixed, BERLIN)[0].temp_c) == 1000
    with pytest.raises(LogFileError) as refused:
        parse_log(text, fixed, BERLIN)
    assert refused.value.messages == ("Line 2: 99 mV is no voltage of a type K thermocouple here.",)


def test_a_mapping_survives_being_kept():
    mapping = ColumnMapping(";", ",", (MappedColumn(0, "time", "iso"),), 3, 21.5)
    assert ColumnMapping.from_json(json.loads(json.dumps(mapping.to_json()))) == mapping
    with pytest.raises(ValueError, match="a mapping of columns"):
        ColumnMapping.from_json({"delimiter": ";"})


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.integers(0, 3 * 86_400),
            st.floats(-20, 1300).map(lambda temp_c: round(temp_c, 2)),
            st.one_of(st.none(), st.floats(0, 9000).map(lambda power_w: round(power_w, 1))),
        ),
        min_size=1,
        max_size=60,
        unique_by=lambda row: row[0],
    ),
    st.sampled_from(["%Y-%m-%d %H:%M:%S", "%d.%m.%Y %H:%M:%S", "%Y-%m-%dT%H:%M:%SZ"]),
    st.sampled_from(["\n", "\r\n", "\r"]),
    st.integers(10, 200),
)
def test_plain_lines_and_careful_cells_read_the_same(rows, form, line_end, block):
    """Source: definition; the same lines with a quotation mark in one go cell by cell."""
    lines = ["when;temp C;power W"]
    for second, temp_c, power_w in sorted(rows):
        at = datetime(2026, 5, 1, tzinfo=UTC) + timedelta(seconds=second)
        lines.append(f"{at:{form}};{temp_c};{'' if power_w is None else power_w}")
    plain = line_end.join(lines)
    quoted = line_end.join([*lines[:1], *(f'"{line[:19]}"{line[19:]}' for line in lines[1:])])
    if form.endswith("Z"):
        quoted = line_end.join([*lines[:1], *(line.replace("Z", " Z") for line in lines[1:])])
    mapping = preview_log(plain).mapping()
    pieces = [plain.encode()[at : at + block] for at in range(0, len(plain), block)]
    with mock.patch.object(log_lines, "BLOCK_CHARS", block):
        in_blocks = parse_log(iter(pieces), mapping, BERLIN)
    assert in_blocks == parse_log(plain, mapping, BERLIN) == parse_log(quoted, mapping, BERLIN)
    assert len(in_blocks) == len(rows)


def test_a_file_too_long_to_be_sorted_is_refused(monkeypatch):
    monkeypatch.setattr(log_stream, "SORTED_ROWS_MAX", 1)
    text = "time,temp\n2026-03-01 10:05,20\n2026-03-01 10:00,21\n"
    assert "is not sorted here" in faults(text, allow_disorder=True)[0]
