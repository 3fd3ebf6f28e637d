"""Messages of meters and loggers, read by a mapping of paths and units."""

import json
from datetime import UTC, datetime, timedelta

import pytest

from firings.calculations.published_readings import (
    FieldPath,
    JoinedReadings,
    Message,
    MessageMapping,
    check_path,
    read_message,
)

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)


def mapping(*fields: tuple[str, str, str], **more: str) -> MessageMapping:
    return MessageMapping(tuple(FieldPath(*one) for one in fields), **more)


def read(document: object, of: MessageMapping) -> Message:
    return read_message(json.dumps(document).encode(), of, NOON)


def test_values_are_found_by_their_paths_and_come_in_stored_units() -> None:
    """NIST SP 811 B.8: 2232 F is 1222.22 C; 1 kW is 1000 W."""
    of = mapping(
        ("temp_c", "kiln.zones[1].temp", "F"),
        ("power_w", "power", "kW"),
        ("duty", "duty", "percent"),
        ("register_wh", "meter.total", "kWh"),
    )
    document = {
        "kiln": {"zones": [{"temp": 1}, {"temp": 2232}]},
        "power": "7.5",
        "duty": 65,
        "meter": {"total": 12_345.678},
    }
    told = read(document, of)
    assert told.values["temp_c"] == pytest.approx(1222.222, abs=0.001)
    assert told.values["power_w"] == 7500
    assert told.values["duty"] == pytest.approx(0.65)
    assert told.values["register_wh"] == pytest.approx(12_345_678)
    assert told.at == NOON


def test_a_message_may_be_a_bare_number() -> None:
    assert read(21.5, mapping(("temp_c", "", "C"))).values == {"temp_c": 21.5}


@pytest.mark.parametrize(
    ("written", "unit"),
    [
        ("2026-03-02T13:00:00+01:00", "iso"),
        (1_772_452_800, "unix_s"),
        (1_772_452_800_000, "unix_ms"),
    ],
)
def test_the_time_of_a_message_is_read(written: object, unit: str) -> None:
    of = mapping(("temp_c", "t", "C"), time_path="at", time_unit=unit)
    assert read({"t": 20, "at": written}, of).at == NOON


def test_what_is_missing_is_left_out() -> None:
    of = mapping(("temp_c", "t", "C"), ("power_w", "p", "W"))
    assert read({"t": 20, "p": None}, of).values == {"temp_c": 20}


@pytest.mark.parametrize(
    ("payload", "why"),
    [
        (b"21 degrees", "is no JSON"),
        (b"[" * 70_000, "65536 are the most"),
        (b"[" * 20_000, "is no JSON"),
        (b'{"other": 1}', "holds nothing at t"),
        (b'{"t": "hot"}', "t is 'hot', not a number"),
        (b'{"t": true}', "t is True, not a number"),
        (b'{"t": NaN}', "not a number"),
        (b'{"t": 20, "at": "noon"}', "the time 'noon' cannot be read"),
        (b'{"t": 20, "at": "2026-03-02T12:00:00"}', "has no time zone"),
    ],
)
def test_a_message_that_cannot_be_read_says_why(payload: bytes, why: str) -> None:
    with pytest.raises(ValueError, match=why):
        read_message(payload, mapping(("temp_c", "t", "C"), time_path="at"), NOON)


@pytest.mark.parametrize("path", ["a..b", ".a", "a[x]", "a[", "[0]b", "a]"])
def test_a_path_that_cannot_be_followed_is_refused(path: str) -> None:
    with pytest.raises(ValueError, match="is no path"):
        check_path(path)


@pytest.mark.parametrize(
    ("fields", "why"),
    [
        ([], "at least one value"),
        ([("temp_c", "a", "C"), ("temp_c", "b", "C")], "once only"),
        ([("temp_c", "a", "K")], "must be C or F"),
        ([("pressure", "a", "C")], "field must be one of"),
    ],
)
def test_a_mapping_that_cannot_be_is_refused(fields: list[tuple[str, str, str]], why: str) -> None:
    with pytest.raises(ValueError, match=why):
        mapping(*fields)


class TestJoining:
    def test_a_temperature_makes_a_reading_with_what_else_is_fresh(self) -> None:
        joined = JoinedReadings()
        assert joined.join(Message(NOON, {"power_w": 7000.0})) is None
        later = NOON + timedelta(minutes=4)
        reading = joined.join(Message(later, {"temp_c": 600.0}))
        assert reading is not None
        assert (reading.at, reading.temp_c, reading.power_w) == (later, 600.0, 7000.0)

    def test_what_is_older_than_five_minutes_is_left_out(self) -> None:
        joined = JoinedReadings()
        joined.join(Message(NOON, {"power_w": 7000.0}))
        reading = joined.join(Message(NOON + timedelta(minutes=6), {"temp_c": 600.0}))
        assert reading is not None
        assert reading.power_w is None

    def test_a_value_that_cannot_be_true_spoils_only_its_own_message(self) -> None:
        joined = JoinedReadings()
        with pytest.raises(ValueError, match=r"temperature 9000\.0 is not between"):
            joined.join(Message(NOON, {"temp_c": 9000.0}))
        assert joined.join(Message(NOON, {"temp_c": 600.0})) is not None
