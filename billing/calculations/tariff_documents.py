"""Tariffs as JSON: what a form or an import hands in, what a record stores.

    {"kind": "flat", "price_per_kwh": "0.21"}

    {"kind": "tiered", "format": 2, "time_zone": "America/Indiana/Indianapolis",
     "tiers": [{"up_to_kwh": "250", "price_per_kwh": "0.064"},
               {"up_to_kwh": null, "price_per_kwh": "0.049"}]}

    {"kind": "time_of_use", "time_zone": "America/Toronto",
     "periods": [{"name": "off", "price_per_kwh": "0.074"},
                 {"name": "on", "price_per_kwh": "0.151"}],
     "default_period": "off",
     "seasons": [{"name": "winter", "first_day": "11-01", "last_day": "04-30",
                  "rules": [{"weekdays": ["mon", "fri"], "from": "07:00", "to": "11:00",
                             "period": "on"}]},
                 {"name": "summer", "first_day": "05-01", "last_day": "10-31", "rules": []}],
     "holidays": ["2023-04-07"], "holiday_period": "off"}

Format 2 adds to any kind, where there is something to add:

    {"format": 2, "time_zone": "America/New_York",
     "fixed": {"per_day": "0", "per_month": "32.50"},
     "demand": [{"name": "on-peak demand", "window_minutes": 15, "periods": ["on"],
                 "prices": [{"name": "summer", "first_day": "06-01", "last_day": "10-31",
                             "price_per_kw": "15.50"}, ...]}],
     "taxes": [{"name": "levy", "per_kwh": "0.0205"}, {"name": "VAT", "percent": "19"}]}

and to time of use prices that follow other seasons than the hours: "price_seasons": [{"name",
"first_day", "last_day"}], and in a period "season_prices": {"summer": "0.0840"}. A document
without "format" is of format 1, which had none of this; it reads as it always did.

Prices are text, because a JSON number may pass through a binary float. Periods are a list,
because a JSON object may lose its order.
"""

import re
from collections.abc import Mapping
from datetime import date
from typing import Any

from billing.calculations.charge_documents import charges_json, demand_of, fixed_of, taxes_of
from billing.calculations.document_fields import (
    Document,
    decimal_in,
    month_day_in,
    objects_in,
    optional_text_in,
    text_in,
)
from billing.calculations.prices import TariffError
from billing.calculations.seasons import YearSpan
from billing.calculations.tariffs import EnergyPrices, FlatTariff, Tariff
from billing.calculations.tiers import Tier, TieredTariff
from billing.calculations.time_of_use import (
    WEEKDAYS,
    HourRule,
    Season,
    TariffPeriod,
    TimeOfUseTariff,
    clock,
)

FORMATS = (1, 2)
HOLIDAYS_MAX = 500


def from_json(document: Document) -> Tariff:
    """Read a tariff. Raises TariffError with one sentence for each problem found.

    Problems of form (a missing entry, a price that is no number) are named one at a time;
    problems of sense (gaps, overlaps, unknown periods, a missing season) all together.
    """
    if not isinstance(document, Mapping):
        raise TariffError([f"a tariff must be a JSON object, not {document!r}"])
    if document.get("format", 1) not in FORMATS:
        raise TariffError(
            [f"format of a tariff must be one of {FORMATS}, not {document['format']!r}"]
        )
    return Tariff(
        energy=_energy(document),
        time_zone=optional_text_in(document, "time_zone", "the tariff"),
        fixed=fixed_of(document),
        demand=demand_of(document),
        taxes=taxes_of(document),
    )


def to_json(tariff: Tariff) -> dict[str, Any]:
    """The tariff as `from_json` reads it; reading it back gives an equal tariff.

    Written in the lowest format that can say it all.
    """
    document = _energy_json(tariff.energy)
    if tariff.time_zone is not None:
        document["time_zone"] = tariff.time_zone
    document |= charges_json(tariff)
    is_first_format = not (
        {"fixed", "demand", "taxes", "price_seasons", "tiers"} & set(document)
    ) and ("time_zone" not in document or document["kind"] == "time_of_use")
    return document if is_first_format else {"format": 2, **document}


def _energy(document: Document) -> EnergyPrices:
    kind = document.get("kind")
    if kind == "flat":
        return FlatTariff(decimal_in(document, "price_per_kwh", "the tariff"))
    if kind == "tiered":
        return _tiered(document)
    if kind == "time_of_use":
        return _time_of_use(document)
    raise TariffError([f"kind of tariff must be 'flat', 'tiered' or 'time_of_use', not {kind!r}"])


def _energy_json(energy: EnergyPrices) -> dict[str, Any]:
    if isinstance(energy, FlatTariff):
        return {"kind": "flat", "price_per_kwh": str(energy.price_per_kwh)}
    if isinstance(energy, TieredTariff):
        tiers = [
            {
                "up_to_kwh": None if tier.up_to_kwh is None else str(tier.up_to_kwh),
                "price_per_kwh": str(tier.price_per_kwh),
            }
            for tier in energy.tiers
        ]
        return {"kind": "tiered", "time_zone": energy.time_zone, "tiers": tiers}
    document = {
        "kind": "time_of_use",
        "time_zone": energy.time_zone,
        "periods": [_period_json(period) for period in energy.periods],
        "default_period": energy.default_period,
        "seasons": [_season_json(season) for season in energy.seasons],
        "holidays": sorted(day.isoformat() for day in energy.holidays),
        "holiday_period": energy.holiday_period,
    }
    if energy.price_seasons:
        document["price_seasons"] = [
            {"name": span.name, "first_day": str(span.first_day), "last_day": str(span.last_day)}
            for span in energy.price_seasons
        ]
    return document


def _period_json(period: TariffPeriod) -> dict[str, Any]:
    document: dict[str, Any] = {"name": period.name, "price_per_kwh": str(period.price_per_kwh)}
    if period.season_prices:
        document["season_prices"] = {name: str(price) for name, price in period.season_prices}
    return document


def _season_json(season: Season) -> dict[str, Any]:
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


def _tiered(document: Document) -> TieredTariff:
    tiers = []
    for number, tier in enumerate(objects_in(document, "tiers"), start=1):
        where = f"tier {number}"
        is_open = tier.get("up_to_kwh") is None
        tiers.append(
            Tier(
                None if is_open else decimal_in(tier, "up_to_kwh", where),
                decimal_in(tier, "price_per_kwh", where),
            )
        )
    return TieredTariff(text_in(document, "time_zone", "the tariff"), tuple(tiers))


def _time_of_use(document: Document) -> TimeOfUseTariff:
    return TimeOfUseTariff(
        time_zone=text_in(document, "time_zone", "the tariff"),
        periods=tuple(
            _period(period, number)
            for number, period in enumerate(objects_in(document, "periods"), start=1)
        ),
        seasons=tuple(_season(season) for season in objects_in(document, "seasons")),
        default_period=optional_text_in(document, "default_period", "the tariff"),
        holidays=frozenset(_holiday(day) for day in _holidays(document)),
        holiday_period=optional_text_in(document, "holiday_period", "the tariff"),
        price_seasons=tuple(
            _span(span, "a price season")
            for span in objects_in(document, "price_seasons", required=False)
        ),
    )


def _period(document: Document, number: int) -> TariffPeriod:
    where = f"period {number}"
    season_prices = document.get("season_prices") or {}
    if not isinstance(season_prices, Mapping):
        raise TariffError([f"{where}: season_prices must be an object, not {season_prices!r}"])
    return TariffPeriod(
        text_in(document, "name", "a period"),
        decimal_in(document, "price_per_kwh", where),
        tuple(
            (str(name), decimal_in(season_prices, name, f"{where} in {name!r}"))
            for name in season_prices
        ),
    )


def _span(document: Document, what: str) -> YearSpan:
    name = text_in(document, "name", what)
    where = f"season {name!r}"
    return YearSpan(
        name,
        month_day_in(document, "first_day", where),
        month_day_in(document, "last_day", where),
    )


def _season(document: Document) -> Season:
    span = _span(document, "a season")
    rules = objects_in(document, "rules")
    where = f"season {span.name!r}"
    return Season(
        span.name, span.first_day, span.last_day, tuple(_rule(rule, where) for rule in rules)
    )


def _rule(document: Document, where: str) -> HourRule:
    weekdays = document.get("weekdays")
    if not isinstance(weekdays, list | tuple) or not all(day in WEEKDAYS for day in weekdays):
        raise TariffError(
            [f"{where}: weekdays must be a list of {', '.join(WEEKDAYS)}, not {weekdays!r}"]
        )
    return HourRule(
        weekdays=frozenset(WEEKDAYS.index(day) for day in weekdays),
        start_minute=_minute(text_in(document, "from", where), where),
        end_minute=_minute(text_in(document, "to", where), where),
        period=text_in(document, "period", where),
    )


def _holidays(document: Document) -> list[object]:
    days = document.get("holidays") or []
    if not isinstance(days, list):
        raise TariffError([f"holidays must be a list of dates, not {days!r}"])
    if len(days) > HOLIDAYS_MAX:
        raise TariffError([f"holidays are {len(days)}: at most {HOLIDAYS_MAX} are read"])
    return days


def _holiday(text: object) -> date:
    try:
        return date.fromisoformat(str(text))
    except ValueError as error:
        raise TariffError([f"holiday {text!r} is not a date such as 2026-12-25"]) from error


def _minute(text: str, where: str) -> int:
    match = re.fullmatch(r"(\d{1,2}):([0-5]\d)", text)
    if match is None:
        raise TariffError([f"{where}: {text!r} is not a time of day such as 07:00"])
    minute = int(match[1]) * 60 + int(match[2])
    if minute > 24 * 60:
        raise TariffError([f"{where}: {text!r} is after 24:00; hours go from 00:00 to 24:00"])
    return minute
