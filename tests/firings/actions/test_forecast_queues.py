"""Forecasts are reckoned from past firings, once for each change of a queue."""

from datetime import timedelta

import pytest

from firings.actions.bookings import withdraw_booking
from firings.actions.forecast_queues import forecast_queues
from firings.models import BookingForecast, Firing
from tests import scene
from tests.scene import NOON

pytestmark = pytest.mark.django_db


@pytest.fixture
def past():
    """Five bisques, a week apart, each with 40,000 mm2 of ware; the last one a week ago."""
    kiln, ines = scene.kiln(), scene.person("Ines")
    for weeks in range(5, 0, -1):
        at = NOON - timedelta(weeks=weeks)
        firing = Firing.objects.create(
            kiln=kiln, stage="bisque", cone="04", state="closed", planned_for=at, started_at=at
        )
        ware = scene.booking(ines, at=at)
        type(ware).objects.filter(pk=ware.pk).update(
            state="collected", firing=firing, charged_area_mm2=40_000
        )
    return ines


def test_bookings_are_told_their_load_and_a_band(past):
    # four mugs of 90 mm: 4 x pi 45^2 = 25,447 mm2; two slips need more than one load of 40,000
    first, second = scene.booking(past), scene.booking(past)
    assert forecast_queues(at=NOON) == 1
    assert (first.forecast.load, second.forecast.load) == (1, 2)
    assert first.forecast.band_from <= first.forecast.likely_from
    assert second.forecast.band_to >= first.forecast.band_to


def test_a_planned_firing_says_when_the_next_load_is(past):
    ware = scene.booking(past)
    scene.planned(scene.crew(), scene.kiln(name="Wren"), planned_for=NOON + timedelta(days=3))
    forecast_queues(at=NOON)
    assert ware.forecast.band_from == (NOON + timedelta(days=3)).date()


def test_what_did_not_change_is_not_reckoned_again(past):
    scene.booking(past)
    assert [forecast_queues(at=NOON), forecast_queues(at=NOON)] == [1, 0]
    scene.booking(past)
    assert forecast_queues(at=NOON) == 1


def test_what_no_longer_waits_has_no_forecast(past):
    gone, stays = scene.booking(past), scene.booking(past)
    forecast_queues(at=NOON)
    withdraw_booking(by=past, at=NOON, booking=gone)
    forecast_queues(at=NOON)
    assert list(BookingForecast.objects.values_list("booking", flat=True)) == [stays.pk]


def test_too_few_firings_forecast_nothing():
    scene.kiln()
    scene.booking(scene.person("Ines"))
    forecast_queues(at=NOON)
    assert not BookingForecast.objects.exists()
