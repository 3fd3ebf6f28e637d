"""A firing is planned, announced, taken to loading and called off, over HTTP."""

from datetime import timedelta

import pytest
from django.utils import timezone

from firings.models import BookingState, Firing, FiringState
from studio.models import Role
from tests import scene
from tests.firings.pages.crew_scene import client_of, queries_of

NO_RAMPS = {"rows-TOTAL_FORMS": "0", "rows-INITIAL_FORMS": "0"}


def plan(way, **changed):
    when = (timezone.now() + timedelta(hours=3)).strftime("%Y-%m-%dT%H:%M")
    usual = {"kiln": way.kiln.pk, "planned_for": when, "stage": "bisque", "cone": "04"}
    return {**usual, **NO_RAMPS, **changed}


def test_a_plan_keeps_its_schedule_in_celsius(way, crew_client):
    ramps = {
        "rows-TOTAL_FORMS": "2",
        "rows-0-rate_c_per_h": "180",
        "rows-0-rate_c_per_h_unit": "F",
        "rows-0-target_c": "1112",
        "rows-0-target_c_unit": "F",
        "rows-0-hold_minutes": "15",
        "rows-1-rate_c_per_h": "",
        "rows-1-rate_c_per_h_unit": "C",
        "rows-1-hold_minutes": "0",
    }
    answer = crew_client.post("/firings/plan/", plan(way, **ramps))
    assert answer.status_code == 303
    firing = Firing.objects.get()
    assert answer["Location"] == f"/firings/{firing.pk}/"
    # F/h / 1.8 and (F - 32) / 1.8: NIST SP 811, B.8
    assert firing.schedule == [{"rate_c_per_h": 100.0, "target_c": 600.0, "hold_minutes": 15}]
    page = crew_client.get(f"/firings/{firing.pk}/").content.decode()
    assert "100\N{NO-BREAK SPACE}°C/h to 600\N{NO-BREAK SPACE}°C, hold 15 min" in page


def test_a_ramp_without_its_target_is_refused_and_nothing_is_written(way, crew_client):
    ramps = {
        "rows-TOTAL_FORMS": "1",
        "rows-0-rate_c_per_h": "100",
        "rows-0-rate_c_per_h_unit": "C",
        "rows-0-hold_minutes": "0",
    }
    assert crew_client.post("/firings/plan/", plan(way, **ramps)).status_code == 422
    assert not Firing.objects.exists()


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"planned_for": "2020-01-01T10:00"}, "now or later"),
        ({"cone": "12"}, "may be fired to cone 10 at most"),
        ({"kiln": "999"}, "Select a valid choice"),
        ({"planned_for": "soon"}, "Enter a valid date/time"),
    ],
)
def test_what_cannot_be_planned_is_told_in_the_form(way, crew_client, changed, message):
    answer = crew_client.post("/firings/plan/", plan(way, **changed))
    assert answer.status_code in (409, 422)
    assert message in answer.content.decode()
    assert not Firing.objects.exists()


def test_an_empty_first_firing_takes_its_own_stage_and_cone(way, crew_client):
    crew_client.post("/firings/plan/", plan(way, is_empty_first_firing="on", cone="6"))
    firing = Firing.objects.get()
    assert (firing.stage, firing.cone, firing.is_empty_first_firing) == ("bisque", "04", True)


def test_a_planned_firing_is_announced_and_then_loaded(way, crew_client):
    firing = way.planned()
    url = f"/firings/{firing.pk}/"
    assert "Announce it to members" in crew_client.get(url).content.decode()
    assert crew_client.post(f"{url}announce/").status_code == 303
    firing.refresh_from_db()
    assert firing.state == FiringState.OPEN
    assert crew_client.post(f"{url}begin-loading/").status_code == 303
    firing.refresh_from_db()
    assert firing.state == FiringState.LOADING


def test_a_taken_kiln_is_told_on_the_page_one_came_from(way, crew_client):
    way.loading()
    other = way.planned()
    url = f"/firings/{other.pk}/"
    answer = crew_client.post(
        f"{url}begin-loading/", headers={"referer": f"http://testserver{url}"}, follow=True
    )
    assert answer.redirect_chain[-1][0] == url
    assert "Heron is taken by" in answer.content.decode()


def test_a_buttons_address_answers_no_get(way, crew_client):
    url = f"/firings/{way.planned().pk}/"
    for deed in ("announce/", "begin-loading/", "cooling/", "load/fill/"):
        assert crew_client.get(f"{url}{deed}").status_code == 405


def test_cancelling_asks_why_and_frees_the_ware(way, crew_client):
    firing = way.loading()
    url = f"/firings/{firing.pk}/cancel/"
    assert crew_client.post(url, {"reason": " "}).status_code == 422
    assert crew_client.post(url, {"reason": "The vent is broken."}).status_code == 303
    firing.refresh_from_db()
    way.booking.refresh_from_db()
    assert firing.state == FiringState.CANCELLED
    assert way.booking.state == BookingState.WAITING
    page = crew_client.get(f"/firings/{firing.pk}/").content.decode()
    assert "The vent is broken." in page


def test_a_manager_plans_but_does_not_load(way):
    manager = client_of(scene.person("Mika", Role.MANAGER))
    assert manager.post("/firings/plan/", plan(way)).status_code == 303
    url = f"/firings/{Firing.objects.get().pk}/"
    page = manager.get(url).content.decode()
    assert "Announce it to members" in page
    assert "Begin loading" not in page
    assert manager.post(f"{url}begin-loading/").status_code == 403


@pytest.mark.parametrize("role", [Role.MEMBER, Role.TREASURER])
def test_others_plan_nothing(way, role):
    other = client_of(scene.person("Uta", role))
    assert other.get("/firings/plan/").status_code == 403
    assert other.post("/firings/plan/", plan(way)).status_code == 403
    assert not Firing.objects.exists()


def test_the_board_shows_the_hottest_first(way, crew_client):
    way.hot()
    wren = scene.kiln(name="Wren")
    scene.booking(way.member, at=way.now)
    scene.loading(way.crew, wren, at=way.now)
    scene.planned(way.crew, wren, at=way.now)
    context = crew_client.get("/firings/").context
    assert [firing.state for firing in context["now"]] == ["firing", "loading"]
    assert [firing.state for firing in context["coming"]] == ["planned"]


def test_the_boards_queries_do_not_grow_with_firings(way, crew_client):
    way.planned()
    with_one = queries_of(crew_client, "/firings/")
    for name in ("Wren", "Swift"):
        scene.planned(way.crew, scene.kiln(name=name), at=way.now)
    assert queries_of(crew_client, "/firings/") == with_one <= 12
