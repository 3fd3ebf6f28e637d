"""Alarms in a real Chromium: read out, big enough for gloves, and no remark lost while it lives."""

from __future__ import annotations

from datetime import timedelta

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.conf import settings

from firings.actions.readings import add_firing_readings
from firings.calculations.readings import Reading as Moment
from firings.models import Alarm
from tests.firings.pages.crew_scene import Way, client_of, make_way

pytestmark = pytest.mark.django_db(transaction=True)
GLOVES_PX = 60


@pytest.fixture
def hot(transactional_db) -> tuple[Way, Alarm]:
    """A firing that climbed to 520 C and fell to 410 C in the last hour."""
    way = make_way()
    firing = way.started(hours_ago=6)
    temps = [20 + 500 * n / 60 for n in range(61)] + [520 - 10 * n for n in range(1, 12)]
    readings = [
        Moment(firing.started_at + timedelta(minutes=5 * n), temp_c)
        for n, temp_c in enumerate(temps)
    ]
    add_firing_readings(by=None, at=way.now, firing=firing, readings=readings, source="logger")
    return way, Alarm.objects.get()


def sign_in(page, live_server, person) -> None:
    cookie = client_of(person).cookies[settings.SESSION_COOKIE_NAME]
    page.context.add_cookies([{"name": cookie.key, "value": cookie.value, "url": live_server.url}])


@pytest.mark.parametrize("width", [390, 1280])
def test_an_alarm_is_an_alert_with_a_button_for_gloves(page, live_server, hot, width):
    way, alarm = hot
    page.set_viewport_size({"width": width, "height": 900})
    sign_in(page, live_server, way.crew)
    page.goto(f"{live_server.url}/firings/{alarm.firing_id}/")
    assert page.get_by_role("alert").get_by_text("Falls while it should rise").first.is_visible()
    button = page.get_by_role("button", name="I have seen it")
    assert button.bounding_box()["height"] >= GLOVES_PX
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert [one["id"] for one in Axe().run(page).response["violations"]] == []


def test_a_remark_half_typed_outlives_the_next_look(page, live_server, hot):
    way, alarm = hot
    sign_in(page, live_server, way.crew)
    page.goto(f"{live_server.url}/firings/{alarm.firing_id}/")
    page.get_by_label("What you found").fill("The lid was")
    with page.expect_response("**/live/**"):
        page.evaluate("htmx.ajax('GET', document.querySelector('#live').getAttribute('hx-get'),"
                      " {target: '#live', swap: 'outerHTML'})")  # fmt: skip
    page.wait_for_function("!document.querySelector('.htmx-request')")
    assert page.get_by_label("What you found").input_value() == "The lid was"
    page.get_by_role("button", name="I have seen it").click()
    page.get_by_text("Cosmo has seen it").wait_for()
    alarm.refresh_from_db()
    assert alarm.remark == "The lid was"


@pytest.mark.parametrize("path", ["/kilns-now/", "/", "/kilns/{kiln}/", "/kilns/{kiln}/watch/"])
def test_its_other_pages_are_accessible(page, live_server, hot, path):
    way, alarm = hot
    way.crew.role_holdings.create(role="manager")
    sign_in(page, live_server, way.crew)
    page.goto(live_server.url + path.format(kiln=alarm.firing.kiln_id))
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    assert [one["id"] for one in Axe().run(page).response["violations"]] == []
