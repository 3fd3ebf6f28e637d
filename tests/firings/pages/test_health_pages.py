"""A kiln's health and a firing's energy on their pages: figures and who decides, never a verdict
on safety."""

from datetime import timedelta

import pytest

from firings.models import Firing, FiringHealth, FiringState, WitnessCone
from tests import scene
from tests.firings.pages.crew_scene import client_of, queries_of

pytestmark = pytest.mark.usefixtures("nobody_listens")


def told(way, count: int, **fields) -> None:
    """Closed firings of the way's kiln with their signs."""
    for number in range(count):
        at = way.now - timedelta(days=90 - 2 * number)
        firing = Firing.objects.create(
            kiln=way.kiln, state=FiringState.CLOSED, stage="glaze", cone="6", planned_for=at,
            started_at=at, opened_at=at + timedelta(days=1), energy_wh=40_000 + 100 * number,
        )  # fmt: skip
        signs = {
            "full_power_w": 5_900 / (1 + 0.012 * number),
            "full_power_rate_c_per_h": 250.0 - 3 * number,
            "log_heat_c": 1230.0 + number % 3,
            "cones_c": 1222.0,
            "cones_either_way_c": 3.0,
        }
        FiringHealth.objects.create(firing=firing, worked_out_at=at, **{**signs, **fields})


@pytest.fixture
def url(way):
    return f"/kilns/{way.kiln.pk}/health/"


def test_the_trends_stand_as_pictures_and_as_a_table(way, crew_client, url):
    told(way, 12)
    page = crew_client.get(url).content.decode()
    assert page.count("<svg") >= 4
    assert page.count('role="img"') == 4
    assert "What each closed firing told" in page
    assert "The elements look worn" in page
    assert "common practice, no standard" in page
    assert "Have a licensed electrician measure them." in page
    assert "read 9 °C higher than the cones say" in page
    assert "the kiln&#x27;s manual and a person decide" in page
    assert "is safe" not in page


def test_a_reader_of_fahrenheit_reads_differences_in_it(way, crew_client, url):
    told(way, 12)
    way.crew.temperature_unit = "F"
    way.crew.save()
    # 9 C is 16.2 F: a difference has no 32 in it (NIST SP 811, B.8)
    assert "read 16 °F higher" in crew_client.get(url).content.decode()


def test_thin_evidence_says_nothing_of_the_elements(way, crew_client, url):
    told(way, 3)
    page = crew_client.get(url).content.decode()
    assert "Nothing can be said of the elements yet" in page
    assert "look worn" not in page


def test_a_kiln_without_firings_says_what_is_missing(way, crew_client, url):
    page = crew_client.get(url).content.decode()
    assert "No closed firing yet" in page
    assert 'role="img"' not in page


def test_one_firing_is_drawn_too(way, crew_client, url):
    told(way, 1)
    assert crew_client.get(url).status_code == 200


def test_queries_do_not_grow_with_firings(way, crew_client, url):
    told(way, 2)
    few = queries_of(crew_client, url)
    told(way, 20)
    assert queries_of(crew_client, url) == few <= 14
    assert queries_of(crew_client, f"/kilns/{way.kiln.pk}/") <= 30


def test_the_kilns_page_says_it_in_short(way, crew_client):
    told(way, 12)
    page = crew_client.get(f"/kilns/{way.kiln.pk}/").content.decode()
    assert "The elements look worn" in page
    assert "Trends, firing by firing" in page


def test_crew_and_staff_read_it_and_members_do_not(way, url):
    for person in (scene.manager("Mika"), scene.treasurer()):
        assert client_of(person).get(url).status_code == 200
    assert client_of(way.member).get(url).status_code == 403


def closed(way, crew_client):
    firing = scene.unloaded(way.crew, way.opened(), at=way.now)
    sent = {"result": "reached", "register_start_wh": "1000", "register_end_wh": "1042.5"}
    assert crew_client.post(f"/firings/{firing.pk}/close/", sent).status_code == 303
    return firing


def test_a_closed_firing_shows_where_its_energy_went(way, crew_client):
    firing = closed(way, crew_client)
    page = crew_client.get(f"/firings/{firing.pk}/").content.decode()
    assert "Where its energy went" in page
    assert "Walls and losses (what is left)" in page
    assert "estimated from outlines and heights" in page
    assert "No empty firing of it is on record" in page


def test_an_estimate_that_does_not_fit_says_so(way, crew_client):
    firing = closed(way, crew_client)
    Firing.objects.filter(pk=firing.pk).update(load_kg=500)
    page = crew_client.get(f"/firings/{firing.pk}/").content.decode()
    assert "The estimate does not fit" in page
    assert "Walls and losses (what is left)" not in page


def test_crew_weigh_the_load(way, crew_client):
    firing = way.hot()
    url = f"/firings/{firing.pk}/weigh/"
    assert "Weigh the load" in crew_client.get(f"/firings/{firing.pk}/").content.decode()
    assert crew_client.post(url, {"load_kg": "-1"}).status_code == 422
    assert crew_client.post(url, {"load_kg": "12.5"}).status_code == 303
    firing.refresh_from_db()
    assert firing.load_kg == 12.5
    assert client_of(scene.manager("Mika")).get(url).status_code == 403


ROW = {
    "rows-TOTAL_FORMS": "1",
    "rows-INITIAL_FORMS": "0",
    "rows-0-layer": "1",
    "rows-0-cone": "04",
    "rows-0-position": "left",
}


def test_a_bend_is_written_as_a_clock_shows_it(way, crew_client):
    firing = way.opened()
    url = f"/firings/{firing.pk}/witness-cones/"
    assert crew_client.post(url, {**ROW, "rows-0-clock": "4:30"}).status_code == 303
    seen = WitnessCone.objects.get()
    assert (str(seen.bend), seen.position, seen.role) == ("0.75", "left", "firing")


@pytest.mark.parametrize(
    ("sent", "told_so"),
    [
        ({"rows-0-clock": "9"}, "Write a time from 12"),
        ({"rows-0-clock": "3", "rows-0-bend": "0.9"}, "write one of the two"),
        ({"rows-0-clock": "3", "rows-0-cone": ""}, "Which cone?"),
    ],
)
def test_a_clock_that_shows_no_bend_is_refused(way, crew_client, sent, told_so):
    firing = way.opened()
    answer = crew_client.post(f"/firings/{firing.pk}/witness-cones/", {**ROW, **sent})
    assert answer.status_code == 422
    assert told_so in answer.content.decode()


def test_what_the_cones_say_stands_on_the_page_before_closing(way, crew_client):
    firing = way.opened()
    for layer, bends in ((1, ("1", "0.2", "0")), (3, ("1", "0.9", "0"))):
        for cone, bend in zip(("05", "04", "03"), bends, strict=True):
            firing.witness_cones.create(layer=layer, cone=cone, bend=bend)
    page = crew_client.get(f"/firings/{firing.pk}/close/").content.decode()
    assert "between cone 05 and cone 04" in page
    assert "hotter than layer 1" in page
