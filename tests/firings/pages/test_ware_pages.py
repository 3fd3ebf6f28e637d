"""My ware, one booking's way, slips, what is coming, and the panel on the home page."""

import re

import pytest
import segno
import time_machine
from django.conf import settings
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from firings.actions.bookings import correct_piece, decline_booking
from firings.actions.open_and_unload import open_firing
from firings.actions.plan_firing import announce_firing
from firings.pages import slip_pages
from firings.pages.booking_steps import steps_of_booking
from studio.actions.trail import trail_of
from studio.models import Person
from tests import scene
from tests.firings.pages.crew_scene import client_of
from tests.scene import NOON

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def noon():
    with time_machine.travel(NOON, tick=False):
        yield


@pytest.fixture
def kiln():
    return scene.kiln()


@pytest.fixture
def cosmo(kiln) -> Person:
    return scene.crew()


@pytest.fixture
def ines(kiln, client: Client) -> Person:
    ines = scene.person("Ines")
    client.force_login(ines)
    return ines


def on_the_shelf(cosmo, kiln, member, count: int):
    """So many slips, fired and on the pick-up shelf."""
    slips = [scene.booking(member) for _ in range(count)]
    firing = scene.started(cosmo, scene.loading(cosmo, kiln))
    firing, ended_at = scene.cooled(cosmo, firing)
    scene.unloaded(cosmo, scene.opened(cosmo, firing, at=ended_at), at=ended_at)
    for slip in slips:
        slip.refresh_from_db()
    return slips


def queries_of(client: Client, url: str) -> int:
    with CaptureQueriesContext(connection) as made:
        assert client.get(url).status_code == 200
    return len(made)


class TestMyWare:
    def test_ready_ones_come_first_with_place_and_day(self, client, ines, cosmo, kiln):
        ready = on_the_shelf(cosmo, kiln, ines, 1)[0]
        waits = scene.booking(ines)
        page = client.get("/ware/").content.decode()
        assert page.index(ready.slip) < page.index(waits.slip)
        assert "Shelf B" in page
        assert ready.pick_up_by.isoformat() in page

    def test_shows_nothing_of_others(self, client, ines, cosmo):
        other = scene.booking(scene.person("Olaf"))
        assert other.slip not in client.get("/ware/").content.decode()

    def test_crew_find_only_their_own_there(self, client, ines, cosmo):
        booking = scene.booking(ines)
        client.force_login(cosmo)
        assert booking.slip not in client.get("/ware/").content.decode()

    @pytest.mark.parametrize("url", ["/ware/", "/"])
    def test_queries_do_not_grow_with_rows(self, client, ines, cosmo, kiln, url):
        def one_of_each(count: int) -> None:
            on_the_shelf(cosmo, kiln, ines, count)
            for _ in range(count):
                declined = scene.booking(ines, stage="glaze")
                decline_booking(by=cosmo, at=NOON, booking=declined, reason="wet")
                scene.booking(ines, stage="glaze")

        one_of_each(1)
        client.get(url)  # what is read once for a process is read now
        first = queries_of(client, url)
        one_of_each(2)
        assert queries_of(client, url) == first


class TestHomePanel:
    def test_counts_what_is_ready_and_says_where(self, client, ines, cosmo, kiln):
        on_the_shelf(cosmo, kiln, ines, 2)
        scene.booking(ines)
        answer = client.get("/")
        panel = next(p for p in answer.context["panels"] if "my_ware" in p.template)
        assert (panel.context["ready_count"], panel.context["waiting_count"]) == (2, 1)
        assert "Shelf B" in answer.content.decode()


class TestOneBooking:
    def test_its_way_from_booked_to_ready(self, client, ines, cosmo, kiln):
        ready = on_the_shelf(cosmo, kiln, ines, 1)[0]
        steps = steps_of_booking(ready, list(trail_of(ready)))
        assert [step.state for step in steps] == [*["done"] * 5, "now", "next"]
        assert steps[3].at == ready.firing.started_at
        client.post(f"/ware/{ready.slip}/collect/")
        ready.refresh_from_db()
        steps = steps_of_booking(ready, list(trail_of(ready)))
        assert {step.state for step in steps} == {"done"}

    def test_what_crew_measured_is_told(self, client, ines, cosmo):
        booking = scene.booking(ines)
        piece = booking.pieces.first()
        correct_piece(by=cosmo, at=NOON, piece=piece, shape="round", across_mm=120, height_mm=130)
        page = client.get(f"/ware/{booking.slip}/").content.decode()
        assert "Crew measured again" in page
        # 4 discs of 90 mm: 254.5 cm2; one of them 120 mm: 190.9 + 113.1 = 304.0 cm2
        assert "254.5" in page
        assert "304" in page

    def test_why_it_was_declined(self, client, ines, cosmo):
        booking = scene.booking(ines)
        note = "The foot is cold to the touch."
        decline_booking(by=cosmo, at=NOON, booking=booking, reason="wet", note=note)
        page = client.get(f"/ware/{booking.slip}/").content.decode()
        assert note in page
        assert "not dry" in page
        steps = steps_of_booking(booking, list(trail_of(booking)))
        assert steps[0].state == "done"

    def test_is_not_there_for_nonsense(self, client, ines):
        assert client.get("/ware/ZZZZZZ/").status_code == 404


class TestSlips:
    def test_the_qr_holds_the_short_address(self, ines):
        booking = scene.booking(ines)
        label = slip_pages.label_of(booking)
        assert label.link == f"{settings.PUBLIC_URL}/s/{booking.slip}/"
        # The same symbol as the library makes of that address, module for module.
        expected = segno.make(f"{settings.PUBLIC_URL}/s/{booking.slip}/", error="m", micro=False)
        path = re.search(r'<path[^>]* d="([^"]+)"', label.qr_svg)[1]
        assert f'd="{path}"' in expected.svg_inline(border=4)

    def test_one_slip_says_all_that_crew_look_for(self, client, ines):
        booking = scene.booking(ines)
        page = client.get(f"/ware/{booking.slip}/slip/").content.decode()
        for words in (booking.slip, "Ines", "Bisque, cone 04", "4 × Mug", "2 Mar 2026", "<svg"):
            assert words in page

    def test_all_slips_that_wait_stand_on_one_sheet(self, client, ines, cosmo, kiln):
        on_the_shelf(cosmo, kiln, ines, 1)
        scene.booking(ines)
        scene.booking(ines)
        assert client.get("/ware/slips/").content.decode().count('class="slip"') == 2

    def test_the_short_address_leads_its_member_to_the_booking(self, client, ines):
        booking = scene.booking(ines)
        answer = client.get(f"/s/{booking.slip.lower()}/")
        assert answer.headers["Location"] == f"/ware/{booking.slip}/"

    def test_and_crew_to_what_they_may_do(self, client, ines, cosmo, kiln):
        ready = on_the_shelf(cosmo, kiln, ines, 1)[0]
        waits = scene.booking(ines)
        client.force_login(cosmo)
        assert f"/ware/{ready.slip}/collect/" in client.get(f"/s/{ready.slip}/").content.decode()
        page = client.get(f"/s/{waits.slip}/").content.decode()
        assert f"/{waits.slip}/decline/" in page
        assert "/collect/" not in page

    def test_a_mistyped_code_is_told_as_such(self, client, ines):
        answer = client.get("/s/NOSUCH/")
        assert answer.status_code == 404
        assert "is no slip code" in answer.content.decode()

    def test_who_is_not_signed_in_is_asked_to(self, client, kiln):
        booking = scene.booking(scene.person("Olaf"))
        assert client.get(f"/s/{booking.slip}/").status_code == 302


class TestComing:
    def test_announced_firings_and_kilns(self, client, ines, cosmo, kiln):
        firing = announce_firing(by=cosmo, at=NOON, firing=scene.planned(cosmo, kiln))
        page = client.get("/coming/").content.decode()
        assert f"/book/?firing={firing.pk}" in page
        assert kiln.name in page

    def test_a_running_firing_shows_what_was_measured_and_own_ware(self, client, ines, cosmo, kiln):
        booking = scene.booking(ines)
        other = scene.booking(scene.person("Olaf"))
        firing = scene.started(cosmo, scene.loading(cosmo, kiln))
        firing, _ = scene.cooled(cosmo, firing)
        page = client.get(f"/coming/{firing.pk}/").content.decode()
        assert re.search(r"45\s*°C", page.replace("\xa0", " "))
        assert booking.slip in page
        assert other.slip not in page
        assert f"/firings/{firing.pk}/" in page
        assert client.get(f"/firings/{firing.pk}/").status_code == 200

    def test_who_has_nothing_in_it_is_not_led_to_its_curve(self, client, ines, cosmo, kiln):
        scene.booking(scene.person("Olaf"))
        firing = scene.started(cosmo, scene.loading(cosmo, kiln))
        page = client.get(f"/coming/{firing.pk}/").content.decode()
        assert f"/firings/{firing.pk}/" not in page

    def test_what_was_opened_above_the_limit_is_not_shown_as_cooled(self, way):
        hot = way.cooling()
        why = "An element broke; the crew looked."
        open_firing(by=way.crew, at=way.now, firing=hot, temp_c=300, reason=why)
        steps = client_of(way.member).get(f"/coming/{hot.pk}/").context["steps"]
        assert "At its opening limit" not in [step.label for step in steps]
        assert [step.label for step in steps if step.state == "now"] == ["Opened"]

    def test_a_plan_that_is_not_announced_is_not_shown(self, client, ines, cosmo, kiln):
        firing = scene.planned(cosmo, kiln)
        assert client.get(f"/coming/{firing.pk}/").status_code == 404
        assert client.get("/coming/99999999999999999999/").status_code == 404

    def test_queries_do_not_grow_with_rows(self, client, ines, cosmo, kiln):
        announce_firing(by=cosmo, at=NOON, firing=scene.planned(cosmo, kiln))
        client.get("/coming/")
        first = queries_of(client, "/coming/")
        for name in ("Egret", "Crane"):
            another = scene.kiln(name=name)
            announce_firing(by=cosmo, at=NOON, firing=scene.planned(cosmo, another))
        assert queries_of(client, "/coming/") == first
