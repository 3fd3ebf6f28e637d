"""The chart of a firing in a real Chromium under our content policy: drawn, read off, kept live."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.conf import settings

from firings.actions.readings import add_firing_readings
from firings.calculations.readings import Reading as Moment
from firings.models import Firing
from tests import scene
from tests.firings.pages.crew_scene import Way, client_of, make_way

pytestmark = pytest.mark.django_db(transaction=True)
NBSP = "\N{NO-BREAK SPACE}"


@pytest.fixture
def hot(transactional_db) -> tuple[Way, Firing]:
    """Four hours of a climb of 130 C an hour, with a second zone and a set point."""
    way = make_way()
    firing = way.started(hours_ago=4)
    readings = [
        replace(one, zone2_c=one.temp_c - 20, set_point_c=one.temp_c + 5)
        for one in scene.log(firing.started_at, step_minutes=10)
        if one.at <= way.now
    ]
    add_firing_readings(by=None, at=way.now, firing=firing, readings=readings, source="logger")
    return way, firing


@pytest.fixture
def complaints(page) -> list[str]:
    """What the browser refuses or reports while the test runs."""
    found: list[str] = []
    page.on("console", lambda line: found.append(line.text))
    page.on("pageerror", lambda fault: found.append(str(fault)))
    page.on("requestfailed", lambda request: found.append(request.url))
    return found


def sign_in(page, live_server, person) -> None:
    cookie = client_of(person).cookies[settings.SESSION_COOKIE_NAME]
    page.context.add_cookies([{"name": cookie.key, "value": cookie.value, "url": live_server.url}])


def look(page, live_server, person, firing) -> None:
    sign_in(page, live_server, person)
    page.goto(f"{live_server.url}/firings/{firing.pk}/")
    page.locator(".chart canvas").wait_for()


def colours_on(page) -> int:
    """How many colours the canvas holds: more than a handful once something is drawn."""
    return page.evaluate(
        """() => {
            const canvas = document.querySelector(".chart canvas");
            const pixels = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height);
            return new Set(new Uint32Array(pixels.data.buffer)).size;
        }"""
    )


def readout(page) -> str:
    return page.locator("[data-chart-readout]").inner_text()


@pytest.mark.parametrize("width", [390, 820, 1280])
def test_the_chart_is_drawn_and_accessible(page, live_server, hot, complaints, width):
    way, firing = hot
    page.set_viewport_size({"width": width, "height": 900})
    look(page, live_server, way.crew, firing)
    assert colours_on(page) > 10
    assert page.locator(".curve svg").is_hidden()
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.locator(".chart-area canvas").bounding_box()["width"] <= width
    assert [one["id"] for one in Axe().run(page).response["violations"]] == []
    assert complaints == []


def test_arrow_keys_read_it_off(page, live_server, hot):
    way, firing = hot
    look(page, live_server, way.crew, firing)
    # The made-up log rises from 20 to 1060 C in eight hours: 540 C after four.
    assert f"measured 540{NBSP}°C, zone 2 520{NBSP}°C, set point 545{NBSP}°C" in readout(page)
    page.get_by_label("Moment of the curve").press("Home")
    assert f"0{NBSP}h{NBSP}00{NBSP}min after the start: measured 20{NBSP}°C" in readout(page)
    assert "drying" in readout(page)
    page.get_by_label("Moment of the curve").press("ArrowRight")
    # 130 C an hour: after ten minutes 41.7 C.
    assert f"0{NBSP}h{NBSP}10{NBSP}min after the start: measured 42{NBSP}°C" in readout(page)
    assert page.locator("[data-chart-readout]").get_attribute("aria-live") == "polite"


def test_a_tap_reads_it_off(browser, live_server, hot):
    way, firing = hot
    context = browser.new_context(viewport={"width": 390, "height": 844}, has_touch=True)
    page = context.new_page()
    look(page, live_server, way.crew, firing)
    over = page.locator(".chart .u-over")
    over.scroll_into_view_if_needed()
    before, box = readout(page), over.bounding_box()
    page.touchscreen.tap(box["x"] + 20, box["y"] + box["height"] / 2)
    page.wait_for_function(
        "before => document.querySelector('[data-chart-readout]').innerText !== before", arg=before
    )
    assert "after the start: measured" in readout(page)
    context.close()


def test_each_line_can_be_put_away(page, live_server, hot):
    way, firing = hot
    look(page, live_server, way.crew, firing)
    shown = page.get_by_role("group", name="What the curve shows")
    names = shown.get_by_role("button").all_inner_texts()
    assert names == ["Measured", "Zone 2", "Set point", "Stages", "Forecast", "Opening limit"]
    button = shown.get_by_role("button", name="Stages")
    before = colours_on(page)
    button.click()
    assert button.get_attribute("aria-pressed") == "false"
    assert colours_on(page) < before
    for one in shown.get_by_role("button").all():
        assert one.bounding_box()["height"] >= 44


def test_new_readings_come_by_themselves_and_move_nothing(page, live_server, hot, complaints):
    way, firing = hot
    page.clock.install()
    look(page, live_server, way.crew, firing)
    place = page.locator(".chart-shown").bounding_box()
    fresh = Moment(way.now + timedelta(minutes=5), 551.0, zone2_c=531.0, set_point_c=556.0)
    add_firing_readings(by=None, at=fresh.at, firing=firing, readings=[fresh], source="logger")
    with page.expect_response("**/chart/?since=*"):
        page.clock.run_for(20_000)
    page.get_by_text(f"measured 551{NBSP}°C").wait_for()
    assert page.locator(".chart-shown").bounding_box() == place
    assert complaints == []


def test_a_failed_refresh_is_told_and_the_curve_stays(page, live_server, hot):
    way, firing = hot
    page.clock.install()
    look(page, live_server, way.crew, firing)
    page.route("**/chart/**", lambda route: route.abort())
    page.clock.run_for(20_000)
    page.get_by_text("nothing new could be fetched. It is tried again.").wait_for()
    assert page.locator(".chart canvas").is_visible()


def test_a_reader_of_fahrenheit_reads_fahrenheit(page, live_server, hot):
    way, firing = hot
    way.crew.temperature_unit = "F"
    way.crew.save()
    look(page, live_server, way.crew, firing)
    # 540 x 1.8 + 32 = 1004: NIST SP 811, B.8
    assert f"measured 1004{NBSP}°F" in readout(page)


def test_a_member_with_ware_in_it_reads_the_chart(page, live_server, hot, complaints):
    way, firing = hot
    look(page, live_server, way.member, firing)
    assert f"measured 540{NBSP}°C" in readout(page)
    assert page.get_by_role("button", name="Alarms").count() == 0
    assert complaints == []


def test_on_paper_and_without_scripts_the_drawing_stays(browser, page, live_server, hot):
    way, firing = hot
    look(page, live_server, way.crew, firing)
    page.emulate_media(media="print")
    assert page.locator(".curve svg").is_visible()
    assert page.locator(".chart").is_hidden()
    context = browser.new_context(java_script_enabled=False)
    plain = context.new_page()
    sign_in(plain, live_server, way.crew)
    plain.goto(f"{live_server.url}/firings/{firing.pk}/")
    assert plain.locator(".curve svg").is_visible()
    assert plain.locator(".chart").is_hidden()
    plain.get_by_text("Hour by hour", exact=True).click()
    assert plain.get_by_role("table", name="Readings hour by hour").is_visible()
    context.close()
