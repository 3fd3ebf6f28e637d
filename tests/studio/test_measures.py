"""Quantities typed and shown: fields and template tags."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, timedelta

import pytest
import time_machine
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.template import Context, Template
from django.test import RequestFactory

from studio.models import Studio
from studio.pages.context import Units, locale_of
from studio.pages.unit_fields import (
    AmountField,
    EnergyField,
    LengthField,
    PowerField,
    QuantityField,
    TemperatureField,
)

ENGLISH = Units("cm", "C", "en", "USD")
GERMAN = Units("cm", "C", "de", "EUR")
NBSP = "\N{NO-BREAK SPACE}"


def read(field: QuantityField, units: Units, number: str, unit: str) -> object:
    field.read_by(units)
    return field.clean([number, unit])


@pytest.mark.parametrize(
    ("field", "units", "number", "unit", "stored"),
    [
        # NIST SP 811 B.8: 1 in = 25.4 mm; C = (F - 32) / 1.8.
        (LengthField(), ENGLISH, "10", "in", 254),
        (LengthField(), ENGLISH, "12.5", "cm", 125),
        (LengthField(), GERMAN, "12,5", "cm", 125),
        (LengthField(), ENGLISH, " 1,250 ", "mm", 1250),
        (TemperatureField(), ENGLISH, "212", "F", 100.0),
        (TemperatureField(), ENGLISH, "-40", "F", -40.0),
        (EnergyField(), ENGLISH, "42.5", "kWh", 42500),
        (PowerField(), ENGLISH, "9.6", "kW", 9600),
        (PowerField(), ENGLISH, "850", "W", 850),
        # ISO 4217: the euro has two decimals, the yen none, the Kuwaiti dinar three.
        (AmountField(), GERMAN, "1.234,50", "EUR", 123450),
        (AmountField(), Units("cm", "C", "en", "JPY"), "1200", "JPY", 1200),
        (AmountField(), Units("cm", "C", "en", "KWD"), "1.255", "KWD", 1255),
    ],
)
def test_field_returns_what_is_stored(
    field: QuantityField, units: Units, number: str, unit: str, stored: object
) -> None:
    assert read(field, units, number, unit) == stored


@pytest.mark.parametrize(
    ("field", "number", "unit", "message"),
    [
        (LengthField(), "12,5", "cm", "Write a plain number here, such as 12.5"),
        (LengthField(), "12 cm", "cm", "Write a plain number here, such as 12.5"),
        (LengthField(), "1e3", "cm", "Write a plain number here, such as 12.5"),
        (LengthField(), "NaN", "cm", "Write a plain number here, such as 12.5"),
        (LengthField(), "9**9**9", "cm", "Write a plain number here, such as 12.5"),
        (LengthField(), "12", "cubit", "Choose the unit from the list."),
        (LengthField(), "12", "", "Choose the unit from the list."),
        (LengthField(), "", "cm", "This field is required."),
        (LengthField(), "9" * 30, "cm", "This number is too long."),
        (LengthField(), "-3", "cm", "This cannot be less than zero."),
        (LengthField(max_mm=600), "24", "in", "This must be at most 23.62 in."),
        (LengthField(min_mm=10), "0.5", "cm", "This must be at least 1 cm."),
        (TemperatureField(max_c=1400), "3000", "F", "This must be at most 2552 °F."),
        (TemperatureField(), "-500", "C", "This value is not possible."),
        (EnergyField(max_wh=10**6), "1001", "kWh", "This must be at most 1000 kWh."),
        (AmountField(), "1.234", "USD", "USD has 2 decimals"),
        (AmountField(), "-1", "USD", "This cannot be less than zero."),
    ],
)
def test_field_says_what_is_wrong(
    field: QuantityField, number: str, unit: str, message: str
) -> None:
    with pytest.raises(ValidationError) as refused:
        read(field, ENGLISH, number, unit)
    assert refused.value.messages[0].startswith(message)


@pytest.mark.parametrize("length_mm", [1, 13, 120, 127, 499, 1250])
@pytest.mark.parametrize("unit", ["cm", "in", "mm"])
def test_length_survives_being_shown_and_sent_back(length_mm: int, unit: str) -> None:
    field = LengthField()
    field.read_by(ENGLISH)
    assert field.clean([field.shown(length_mm, unit), unit]) == length_mm


STUDIO = Studio(name="Sample", time_zone="America/Denver", currency="USD")
TOLD = datetime(2026, 7, 1, 15, 30, tzinfo=UTC)  # 09:30 there (IANA tz database)


@pytest.mark.parametrize(
    ("tag", "units", "shown"),
    [
        ("money 123456", ENGLISH, "$1,234.56"),
        ("money 250 sign=True", ENGLISH, "+$2.50"),
        ("money 123456", GERMAN, f"1.234,56{NBSP}€"),
        ("length 254", Units("in", "F", "en", "USD"), f"10.00{NBSP}in"),
        ("length 125", GERMAN, f"12,5{NBSP}cm"),
        # NIST SP 811 B.8: 1 in2 = 645.16 mm2.
        ("area 64516", Units("in", "F", "en", "USD"), f"100.0{NBSP}in²"),
        ("temperature 100.0", Units("in", "F", "en", "USD"), f"212{NBSP}°F"),
        ("energy 42300", ENGLISH, f"42.3{NBSP}kWh"),
        ("power 9600", ENGLISH, f"9.6{NBSP}kW"),
    ],
)
def test_tag_shows_in_the_readers_units(tag: str, units: Units, shown: str) -> None:
    template = Template("{% load wareboard %}{% " + tag + " %}")
    assert template.render(Context({"studio": STUDIO, "units": units})) == shown


@pytest.mark.parametrize(
    ("tag", "moment", "machine", "shown"),
    [
        ("when", TOLD, "2026-07-01T15:30:00+00:00", "Wed 1 Jul 2026, 09:30"),
        ("day", datetime(2026, 7, 2, 3, 0, tzinfo=UTC), "2026-07-01", "Wed 1 Jul 2026"),
        ("day", date(2026, 7, 1), "2026-07-01", "Wed 1 Jul 2026"),
        ("clock", TOLD, "2026-07-01T15:30:00+00:00", "09:30"),
        ("since", TOLD - timedelta(hours=3), "2026-07-01T12:30:00+00:00", "3 hours ago"),
        ("since", TOLD + timedelta(days=2), "2026-07-03T15:30:00+00:00", "in 2 days"),
        ("since", date(2026, 7, 1), "2026-07-01", "today"),
        ("since", date(2026, 7, 3), "2026-07-03", "in 2 days"),
    ],
)
@time_machine.travel(TOLD, tick=False)
def test_time_is_the_studios(tag: str, moment: date, machine: str, shown: str) -> None:
    template = Template("{% load wareboard %}{% " + tag + " at %}")
    context = Context({"studio": STUDIO, "units": ENGLISH, "at": moment})
    assert template.render(context) == f'<time datetime="{machine}">{shown}</time>'


@pytest.mark.parametrize("tag", ["money", "length", "area", "temperature", "energy", "when"])
def test_what_is_not_known_is_said(tag: str) -> None:
    template = Template("{% load wareboard %}{% " + tag + " None %}")
    assert "not known" in template.render(Context({"studio": STUDIO, "units": ENGLISH}))


def test_unknown_language_reads_as_english() -> None:
    assert locale_of(Studio(language="de-CH")) == "de_CH"
    assert locale_of(Studio(language="xx-nowhere")) == "en"


def test_live_script_needs_nothing_that_the_policy_refuses() -> None:
    shown = Template("{% load wareboard %}{% live_script %}").render(Context())
    assert re.search(r'<script src="/static/django_htmx/htmx[^"]*\.js" defer></script>', shown)
    assert '"allowEval":false' in shown
    assert '"includeIndicatorStyles":false' in shown


def test_pages_of_a_long_list_keep_what_was_filtered_for() -> None:
    template = Template("{% load wareboard %}{% pages page %}")
    request = RequestFactory().get("/queue/?stage=bisque&page=2")
    page = Paginator(range(30), 10).page(2)
    shown = template.render(Context({"request": request, "page": page}))

    assert re.findall(r'href="([^"]+)"', shown) == [
        "?stage=bisque&amp;page=1",
        "?stage=bisque&amp;page=3",
    ]
    assert "Page 2 of 3" in shown


def test_one_page_has_no_way_to_others() -> None:
    shown = Template("{% load wareboard %}{% pages page %}").render(
        Context({"page": Paginator(range(3), 10).page(1)})
    )
    assert shown.strip() == ""


def test_content_of_blocks_is_escaped_once() -> None:
    template = Template("{% load wareboard %}{% fact name %} {{ note }} <b>x</b> {% endfact %}")
    shown = template.render(Context({"name": "A & B", "note": "<script>"}))

    assert "<dt>A &amp; B</dt><dd>&lt;script&gt; <b>x</b></dd>" in shown


def test_state_without_words_is_a_fault() -> None:
    with pytest.raises(LookupError, match="no words are registered for booking 'melted'"):
        Template("{% load wareboard %}{% state 'booking' 'melted' %}").render(Context())


def test_page_for_paper_has_title_content_and_a_print_button() -> None:
    template = Template(
        '{% extends "studio/base_print.html" %}{% block title %}Slip{% endblock %}'
        "{% block content %}<h1>A1B2</h1>{% endblock %}"
    )
    shown = template.render(Context({"studio": STUDIO}))

    assert "<title>Slip · Sample</title>" in shown
    assert '<main id="main"><h1>A1B2</h1></main>' in shown
    assert "data-print hidden" in shown
