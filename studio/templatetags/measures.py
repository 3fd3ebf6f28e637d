"""Quantities, money and times, in the units of the reader. `{% load wareboard %}` has them too."""

from __future__ import annotations

from datetime import UTC, date, datetime, time
from decimal import Decimal
from typing import Any, cast

from babel.dates import format_date, format_datetime, format_time, format_timedelta
from django import template
from django.utils import timezone
from django.utils.html import format_html
from django.utils.safestring import SafeString

from studio.calculations import money as minor
from studio.calculations import quantities
from studio.models import Studio
from studio.pages.context import Units, units_for

register = template.Library()

UNKNOWN = SafeString(
    '<span aria-hidden="true">–</span><span class="visually-hidden">not known</span>'
)


def _studio(context: template.Context) -> Studio:
    # A mail or a statement is rendered without the context of a page.
    return cast("Studio", context.get("studio") or Studio.current())


def _units(context: template.Context) -> Units:
    return cast("Units", context.get("units") or units_for(_studio(context)))


def _exact(number: Any) -> int | Decimal:
    return Decimal(str(number)) if isinstance(number, float) else number


@register.simple_tag(takes_context=True)
def money(
    context: template.Context, amount_minor: int | None, sign: bool = False, less: bool = False
) -> str:
    """An amount of minor units in the studio's currency.

    `sign` also shows a plus; `less` shows what is taken off, with a minus.
    """
    if amount_minor is None:
        return UNKNOWN
    units = _units(context)
    amount_minor = -amount_minor if less else amount_minor
    shown = minor.format_minor(amount_minor, units.currency, units.locale)
    return f"+{shown}" if sign and amount_minor > 0 else shown


@register.simple_tag(takes_context=True)
def length(context: template.Context, length_mm: int | None) -> str:
    """A length in cm or in."""
    if length_mm is None:
        return UNKNOWN
    units = _units(context)
    return quantities.format_length(_exact(length_mm), cast("Any", units.length), units.locale)


@register.simple_tag(takes_context=True)
def area(context: template.Context, area_mm2: int | None) -> str:
    """An area in cm² or in²."""
    if area_mm2 is None:
        return UNKNOWN
    units = _units(context)
    unit = cast("Any", f"{units.length}2")
    return quantities.format_area(_exact(area_mm2), unit, units.locale)


@register.simple_tag(takes_context=True)
def temperature(context: template.Context, temperature_c: float | None, digits: int = 0) -> str:
    """A temperature in °C or °F; `digits=1` beside a limit."""
    if temperature_c is None:
        return UNKNOWN
    units = _units(context)
    unit = cast("Any", units.temperature)
    return quantities.format_temperature(_exact(temperature_c), unit, units.locale, digits)


@register.simple_tag(takes_context=True)
def rate(context: template.Context, rate_c_per_h: float | None) -> str:
    """Degrees an hour, in °C or °F."""
    if rate_c_per_h is None:
        return UNKNOWN
    units = _units(context)
    unit = cast("Any", units.temperature)
    return quantities.format_rate(_exact(rate_c_per_h), unit, units.locale)


@register.simple_tag(takes_context=True)
def energy(context: template.Context, energy_wh: float | None) -> str:
    """An energy in kWh."""
    if energy_wh is None:
        return UNKNOWN
    return quantities.format_energy_wh(_exact(energy_wh), _units(context).locale)


@register.simple_tag(takes_context=True)
def power(context: template.Context, power_w: float | None) -> str:
    """A power in kW, to 0.1."""
    if power_w is None:
        return UNKNOWN
    # The same number as an energy over one hour.
    return quantities.format_energy_wh(_exact(power_w), _units(context).locale).replace("kWh", "kW")


@register.simple_tag
def duration(seconds: float | None) -> str:
    """Hours and minutes."""
    return UNKNOWN if seconds is None else quantities.format_duration(round(seconds))


def _local(context: template.Context, at: datetime) -> datetime:
    return at.astimezone(_studio(context).zone)


def _time(at: date, shown: str) -> SafeString:
    moment = at.astimezone(UTC) if isinstance(at, datetime) else at
    return format_html('<time datetime="{}">{}</time>', moment.isoformat(), shown)


@register.simple_tag(takes_context=True)
def when(context: template.Context, at: datetime | None) -> str:
    """Day and time of day, in the studio's time zone."""
    if at is None:
        return UNKNOWN
    local = _local(context, at)
    return _time(at, format_datetime(local, "EEE d MMM y, HH:mm", locale=_units(context).locale))


@register.simple_tag(takes_context=True)
def day(context: template.Context, on: date | datetime | None) -> str:
    """A day; of a moment, the day it is in the studio."""
    if on is None:
        return UNKNOWN
    local = _local(context, on).date() if isinstance(on, datetime) else on
    return _time(local, format_date(local, "EEE d MMM y", locale=_units(context).locale))


@register.simple_tag(takes_context=True)
def clock(context: template.Context, at: datetime | None) -> str:
    """The time of day in the studio."""
    if at is None:
        return UNKNOWN
    return _time(at, format_time(_local(context, at), "HH:mm", locale=_units(context).locale))


@register.simple_tag(takes_context=True)
def since(context: template.Context, at: date | datetime | None) -> str:
    """How long ago, or how long until: "3 hours ago", "in 2 days"."""
    if at is None:
        return UNKNOWN
    locale = _units(context).locale
    if isinstance(at, datetime):
        return _time(at, format_timedelta(at - timezone.now(), add_direction=True, locale=locale))
    today = timezone.now().astimezone(_studio(context).zone).date()
    if at == today:
        return _time(at, "today")
    distance = datetime.combine(at, time()) - datetime.combine(today, time())
    shown = format_timedelta(distance, granularity="day", add_direction=True, locale=locale)
    return _time(at, shown)
