"""Tariffs as JSON: what a form or an import hands in, what a record stores.

    {"kind": "flat", "price_per_kwh": "0.21"}

    {"kind": "time_of_use", "time_zone": "America/Toronto",
     "periods": [{"name": "off", "price_per_kwh": "0.074"},
                 {"name": "on", "price_per_kwh": "0.151"}],
     "default_period": "off",
     "seasons": [{"name": "winter", "first_day": "11-01", "last_day": "04-30",
                  "rules": [{"weekdays": ["mon", "fri"], "from": "07:00", "to": "11:00",
                             "period": "on"}]},
                 {"name": "summer", "first_day": "05-01", "last_day": "10-31", "rules": []}],
     "holidays": ["2023-04-07"], "holiday_period": "off"}

Prices are text, because a JSON number may pass through a binary float. Periods are a list,
because a JSON object may lose its order.
"""

import re
from collections.abc import Mapping
from datetime import date
from decimal import Decimal, InvalidOperation
from typing import Any

from billing.calculations.tariffs import FlatTariff, Tariff
from billing.calculations.time_of_use import (
    WEEKDAYS,
    HourRule,
    MonthDay,
    Season,
    TariffError,
    TariffPeriod,
    TimeOfUseTariff,
    clock,
)

Document = Mapping[str, Any]

# Far above any supplier's tariff; a picture names periods by the 26 letters.
LENGTH_MAX = {"periods": 24, "seasons": 12, "rules": 200, "holidays": 500}
TEXT_LENGTH_MAX = 64


def from_json(document: Document) -> Tariff:
    """Read a tariff. Raises TariffError with one sentence for each problem found.

    Problems of form (a missing entry, a price that is no number) are named one at a time;
    problems of sense (gaps, overlaps, unknown periods, a missing season) all together.
    """
    if not isinstance(document, Mapping):
        raise TariffError([f"a tariff must be a JSON object, not {document!r}"])
    kind = document.get("kind")
    if kind == "flat":
        return FlatTariff(_price(document, "the tariff"))
    if kind == "time_of_use":
        return _time_of_use(document)
    raise TariffError([f"kind of tariff must be 'flat' or 'time_of_use', not {kind!r}"])


def to_json(tariff: Tariff) -> dict[str, Any]:
    """The tariff as `from_json` reads it; reading it back gives an equal tariff."""
    if isinstance(tariff, FlatTariff):
        return {"kind": "flat", "price_per_kwh": str(tariff.price_per_kwh)}
    return {
        "kind": "time_of_use",
        "time_zone": tariff.time_zone,
        "periods": [
            {"name": period.name, "price_per_kwh": str(period.price_per_kwh)}
            for period in tariff.periods
        ],
        "default_period": tariff.default_period,
        "seasons": [_season_document(season) for season in tariff.seasons],
        "holidays": sorted(day.isoformat() for day in tariff.holidays),
        "holiday_period": tariff.holiday_period,
    }


def _season_document(season: Season) -> dict[str, Any]:
    rules = [
        {
            "weekdays": [WEEKDAYS[weekday] for weekday in sorted(rule.weekdays)],
            "from": clock(rule.start_minute),
            "to": clock(rule.end_minute),
            "period": rule.period,
        }
        for rule in season.rules
    ]
    return {
        "name": season.name,
        "first_day": str(season.first_day),
        "last_day": str(season.last_day),
        "rules": rules,
    }


def _time_of_use(document: Document) -> TimeOfUseTariff:
    periods = [
        TariffPeriod(_text(period, "name", "a period"), _price(period, f"period {number}"))
        for number, period in enumerate(_objects(document, "periods"), start=1)
    ]
    return TimeOfUseTariff(
        time_zone=_text(document, "time_zone", "the tariff"),
        periods=tuple(periods),
        seasons=tuple(_season(season) for season in _objects(document, "seasons")),
        default_period=_optional_text(document, "default_period"),
        holidays=frozenset(_holiday(day) for day in _holidays(document)),
        holiday_period=_optional_text(document, "holiday_period"),
    )


def _season(document: Document) -> Season:
    name = _text(document, "name", "a season")
    where = f"season {name!r}"
    return Season(
        name=name,
        first_day=_month_day(_text(document, "first_day", where), where),
        last_day=_month_day(_text(document, "last_day", where), where),
        rules=tuple(_rule(rule, where) for rule in _objects(document, "rules")),
    )


def _rule(document: Document, where: str) -> HourRule:
    weekdays = document.get("weekdays")
    if not isinstance(weekdays, list | tuple) or not all(day in WEEKDAYS for day in weekdays):
        raise TariffError(
            [f"{where}: weekdays must be a list of {', '.join(WEEKDAYS)}, not {weekdays!r}"]
        )
    return HourRule(
        weekdays=frozenset(WEEKDAYS.index(day) for day in weekdays),
        start_minute=_minute(_text(document, "from", where), where),
        end_minute=_minute(_text(document, "to", where), where),
        period=_text(document, "period", where),
    )


def _objects(document: Document, key: str) -> list[Document]:
    entries = document.get(key)
    if not isinstance(entries, list) or not all(isinstance(entry, Mapping) for entry in entries):
        raise TariffError([f"{key} must be a list of objects, not {entries!r}"])
    _check_length(entries, key)
    return entries


def _holidays(document: Document) -> list[object]:
    days = document.get("holidays") or []
    if not isinstance(days, list):
        raise TariffError([f"holidays must be a list of dates, not {days!r}"])
    _check_length(days, "holidays")
    return days


def _check_length(entries: list[Any], key: str) -> None:
    if len(entries) > LENGTH_MAX[key]:
        raise TariffError([f"{key} are {len(entries)}: at most {LENGTH_MAX[key]} are read"])


def _text(document: Document, key: str, where: str) -> str:
    text = document.get(key)
    if not isinstance(text, str) or not text.strip():
        raise TariffError([f"{where} needs {key!r} as text, not {text!r}"])
    if len(text) > TEXT_LENGTH_MAX:
        raise TariffError([f"{where} needs {key!r} in {TEXT_LENGTH_MAX} letters or fewer"])
    return text


def _optional_text(document: Document, key: str) -> str | None:
    return None if document.get(key) is None else _text(document, key, "the tariff")


def _price(document: Document, where: str) -> Decimal:
    text = _text(document, "price_per_kwh", where)
    try:
        return Decimal(text)
    except InvalidOperation as error:
        raise TariffError([f"{where}: price {text!r} is not a decimal number"]) from error


def _holiday(text: object) -> date:
    try:
        return date.fromisoformat(str(text))
    except ValueError as error:
        raise TariffError([f"holiday {text!r} is not a date such as 2026-12-25"]) from error


def _month_day(text: str, where: str) -> MonthDay:
    match = re.fullmatch(r"(\d\d)-(\d\d)", text)
    if match is None:
        raise TariffError([f"{where}: {text!r} is not a day of the year such as 11-01"])
    return MonthDay(int(match[1]), int(match[2]))


def _minute(text: str, where: str) -> int:
    match = re.fullmatch(r"(\d{1,2}):([0-5]\d)", text)
    if match is None:
        raise TariffError([f"{where}: {text!r} is not a time of day such as 07:00"])
    minute = int(match[1]) * 60 + int(match[2])
    if minute > 24 * 60:
        raise TariffError([f"{where}: {text!r} is after 24:00; hours go from 00:00 to 24:00"])
    return minute
