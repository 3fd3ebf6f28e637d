"""The page of a firing: one main deed for each state, and who may read how much of it."""

import re
from dataclasses import replace
from datetime import timedelta

import pytest

from firings.actions.end_firing import abort_firing
from firings.actions.readings import add_firing_readings
from firings.calculations.heat_work import ConeBasis, ConeEstimate
from firings.calculations.readings import Reading as Moment
from firings.models import Alarm, FiringState
from firings.pages.firing_cones import note_on
from studio.models import Studio
from studio.pages.context import units_for
from tests import scene
from tests.firings.pages.crew_scene import client_of, queries_of


def page_of(client, firing):
    answer = client.get(f"/firings/{firing.pk}/")
    assert answer.status_code == 200
    return answer.content.decode()


def big_deeds(page):
    """The words on the buttons that are made for gloves: the main deeds."""
    found = re.findall(r'class="button big"[^>]*>([^<]+)<', page)
    return [words.strip() for words in found]


@pytest.mark.parametrize(
    ("step", "deed"),
    [
        ("planned", "Begin loading"),
        ("loading", "Check and start"),
        ("hot", "The programme has ended: it cools"),
        ("cooling", "Type a reading"),
        ("cooled", "Measure and open"),
    ],
)
def test_each_state_has_one_main_deed(way, crew_client, step, deed):
    assert big_deeds(page_of(crew_client, getattr(way, step)())) == [deed]


def test_an_opened_firing_asks_for_the_next_slip(way, crew_client):
    assert big_deeds(page_of(crew_client, way.opened())) == [f"Unload {way.booking.slip}"]


def test_a_hot_kiln_shows_its_curve_and_latest_reading(way, crew_client):
    firing = way.hot(hours_ago=4)
    page = page_of(crew_client, firing)
    # The made-up log rises from 20 to 1060 C in eight hours: 540 C after four.
    assert "540\N{NO-BREAK SPACE}°C" in page
    assert '<polyline class="curve-line" points="76.0,' in page
    assert 'hx-trigger="every 20s"' in page
    assert "Hour by hour" in page
    assert "htmx" in page


def test_the_live_part_is_the_same_as_the_pages(way, crew_client):
    firing = way.hot()
    part = crew_client.get(f"/firings/{firing.pk}/live/?state=firing")
    assert "HX-Refresh" not in part.headers
    assert part.content.decode().strip().startswith('<section class="card live" id="live"')


def test_the_drawing_and_its_tables_come_again_by_themselves(way, crew_client):
    firing = way.hot(hours_ago=4)
    again = crew_client.get(f"/firings/{firing.pk}/drawn/").content.decode()
    assert '<polyline class="curve-line" points="76.0,' in again
    assert '<div id="hourly" hx-swap-oob="true">' in again
    assert '<div id="stages" hx-swap-oob="true">' in again
    assert 'hx-trigger="every 120s"' in again


def test_the_curve_is_told_in_words_and_without_scripts(way, crew_client):
    page = page_of(crew_client, way.hot(hours_ago=4))
    # Every ten minutes from 20 to 540 C in four hours.
    assert "25 readings, the highest 540\N{NO-BREAK SPACE}°C" in page
    chart = page[page.index('<div class="chart"') : page.index('<div id="drawn"')]
    assert chart.index(" hidden>") < chart.index("\n")
    assert "Stage by stage" in page
    assert "Burn-off" in page


def test_what_matters_comes_first(way, crew_client):
    firing = way.hot(hours_ago=4)
    Alarm.objects.create(
        firing=firing,
        kind="room",
        raised_at=way.now,
        evidence={"temp_c": 41, "limit_c": 38},
        sentence="41 °C",
    )
    page = page_of(crew_client, firing)
    places = [
        page.index(words)
        for words in (
            "The programme has ended: it cools", "live-figures", 'role="alert"',
            "Cooling forecast", "data-chart=", "In the kiln", "Break the firing off",
        )
    ]  # fmt: skip
    assert places == sorted(places)


def test_the_live_part_makes_the_page_anew_when_the_state_has_changed(way, crew_client):
    firing = way.cooling()
    part = crew_client.get(f"/firings/{firing.pk}/live/?state=firing")
    assert part.headers["HX-Refresh"] == "true"


def test_a_silent_kiln_sends_somebody_to_look(way, crew_client):
    page = page_of(crew_client, way.started(hours_ago=5))
    assert "For 5\N{NO-BREAK SPACE}h\N{NO-BREAK SPACE}00\N{NO-BREAK SPACE}min no reading" in page
    assert "No reading yet" in page


def test_a_hot_room_is_told_on_the_page(way, crew_client):
    firing = way.started(hours_ago=5)
    last = Moment(at=way.now, temp_c=650, room_c=41, control_box_c=40)
    add_firing_readings(by=None, at=way.now, firing=firing, readings=[last], source="logger")
    page = page_of(crew_client, firing)
    assert "The room is too hot" in page
    assert "the limit is 38.0\N{NO-BREAK SPACE}°C" in page
    assert "The control box is too hot" not in page


def test_a_forecast_is_rough_and_calls_nothing_safe(way, crew_client):
    firing = way.started(hours_ago=20)
    readings = [r for r in scene.log(firing.started_at, step_minutes=10) if r.at <= way.now]
    add_firing_readings(by=None, at=way.now, firing=firing, readings=readings, source="logger")
    page = page_of(crew_client, firing)
    assert "Cooling forecast" in page
    assert "most likely about" in page
    assert "no closed firing of this kiln, only on its size" in page
    assert "Go and look then, measure, and decide." in page
    assert "safe" not in page.lower()


def test_a_forecast_and_a_log_are_read_in_the_degrees_of_the_reader(way, crew_client):
    way.crew.temperature_unit = "F"
    way.crew.save()
    page = page_of(crew_client, way.cooling())
    # A room of 20 C is 68 F (NIST SP 811, B.8).
    assert "a room taken as 68\N{NO-BREAK SPACE}°F" in page
    units = units_for(Studio.current(), way.crew)
    basis = ConeBasis(peak_c=1000, error_c=10, grade="K standard", slow_s=0, has_gaps=False)
    # 1000 C are 1832 F; a difference of 10 C is one of 18 F.
    told = note_on(ConeEstimate("06", "07", "05", basis), units)
    assert "near 1832\N{NO-BREAK SPACE}°F the range allows 18 degrees either way" in told


def test_before_it_cools_the_forecast_says_that_it_is_rough(way, crew_client):
    page = page_of(crew_client, way.hot(hours_ago=4))
    assert "Roughly, before it cools: if the programme ends about" in page


def test_one_reading_by_hand_is_enough_for_a_forecast(way, crew_client):
    firing = way.started(hours_ago=2)
    crew_client.post(f"/firings/{firing.pk}/cooling/")
    firing.refresh_from_db()
    assert firing.state == FiringState.COOLING
    assert "no reading at all, only on the schedule or the cone" in page_of(crew_client, firing)
    only = Moment(at=way.now, temp_c=400)
    add_firing_readings(by=way.crew, at=way.now, firing=firing, readings=[only], source="hand")
    assert "the last 400\N{NO-BREAK SPACE}°C" in page_of(crew_client, firing)


def test_in_a_room_as_warm_as_the_limit_there_is_no_forecast(way, crew_client):
    firing = way.started(hours_ago=20)
    readings = [
        replace(reading, room_c=51.0)
        for reading in scene.log(firing.started_at, step_minutes=10)
        if reading.at <= way.now
    ]
    add_firing_readings(by=None, at=way.now, firing=firing, readings=readings, source="logger")
    assert "No forecast yet" in page_of(crew_client, firing)


def test_a_member_with_ware_in_it_reads_the_forecast(way):
    assert "Cooling forecast" in page_of(client_of(way.member), way.cooling())


def test_a_broken_off_firing_says_why_and_warns_of_heat(way, crew_client):
    firing = abort_firing(by=way.crew, at=way.now, firing=way.hot(), reason="The relay stuck.")
    page = page_of(crew_client, firing)
    assert "The relay stuck." in page
    assert "The kiln may still be hot" in page
    assert big_deeds(page) == []


def test_the_trail_says_who_did_what(way, crew_client):
    page = page_of(crew_client, way.started())
    trail = page[page.index('id="trail"') :]
    assert [trail.count(f"<strong>{deed}</strong> by Cosmo") for deed in (
        "Planned", "Loading", "Started")] == [1, 1, 1]  # fmt: skip


def test_a_member_reads_curve_and_state_but_no_other_names(way):
    other = scene.person("Balthasar")
    scene.booking(other, at=way.now - timedelta(days=2))
    firing = way.hot()
    page = page_of(client_of(way.member), firing)
    assert way.booking.slip in page
    assert "curve-line" in page
    assert "Balthasar" not in page
    assert "Cosmo" not in page
    assert "data-confirm" not in page
    assert big_deeds(page) == []


def test_who_has_no_ware_in_it_does_not_read_it(way):
    stranger = client_of(scene.person("Uta"))
    firing = way.hot()
    assert stranger.get(f"/firings/{firing.pk}/").status_code == 403
    assert stranger.get(f"/firings/{firing.pk}/live/").status_code == 403
    assert stranger.get(f"/firings/{firing.pk}/drawn/").status_code == 403


def test_manager_and_treasurer_read_it_without_the_crews_buttons(way):
    firing = way.hot()
    for person in (scene.manager("Mika"), scene.treasurer()):
        page = page_of(client_of(person), firing)
        assert way.booking.slip in page
        assert big_deeds(page) == []


@pytest.mark.parametrize("number", [999, 10**30])
def test_an_unknown_firing_is_not_found(crew_client, number):
    assert crew_client.get(f"/firings/{number}/").status_code == 404


def test_a_reader_of_fahrenheit_sees_fahrenheit(way, crew_client):
    way.crew.temperature_unit = "F"
    way.crew.save()
    # 540 x 1.8 + 32 = 1004: NIST SP 811, B.8
    assert "1004\N{NO-BREAK SPACE}°F" in page_of(crew_client, way.hot(hours_ago=4))


def test_queries_do_not_grow_with_slips(way, crew_client):
    firing = way.hot()
    with_one = queries_of(crew_client, f"/firings/{firing.pk}/")
    other = scene.kiln(name="Wren")
    for name in ("Otto", "Runa", "Bela"):
        scene.booking(scene.person(name), at=way.now - timedelta(days=2))
    before = way.now - timedelta(hours=5)
    with_three = scene.started(way.crew, scene.loading(way.crew, other, at=before), at=before)
    readings = [r for r in scene.log(before, step_minutes=10) if r.at <= way.now]
    add_firing_readings(by=None, at=way.now, firing=with_three, readings=readings, source="logger")
    assert with_three.bookings.count() == 3
    assert queries_of(crew_client, f"/firings/{with_three.pk}/") == with_one <= 20
