"""The queue by stage and cone: how much waits, and declining with a reason."""

from datetime import timedelta

import pytest

from firings.models import BookingState, Kiln
from firings.pages.queues import KilnLoads
from studio.models import Notice
from tests import scene
from tests.firings.pages.crew_scene import client_of, queries_of


def test_a_queue_shows_its_area_slips_and_kiln_loads(way, crew_client):
    answer = crew_client.get("/queue/")
    queue = answer.context["queues"][0]
    assert (queue.stage, queue.cone, queue.slips, queue.dry_slips) == ("bisque", "04", 1, 1)
    # Four discs of 90 mm: 4 x pi 45^2 = 25 447 mm2, on four shelves of pi 197^2 = 121 922 mm2.
    assert queue.area_mm2 == 25_448
    assert queue.kilns[0].loads == pytest.approx(25_447 / (4 * 121_922), abs=1e-4)
    page = answer.content.decode()
    assert "Bisque, cone 04" in page
    assert "254.5\N{NO-BREAK SPACE}cm²" in page


@pytest.mark.parametrize(
    ("loads", "words"), [(0.04, "under 0.1 load"), (0.97, "1 load"), (1.24, "1.2 loads")]
)
def test_kiln_loads_are_told_in_words(loads, words):
    assert KilnLoads(Kiln(), loads).words == words


def test_who_declines_sees_alike_pieces_once(way, crew_client):
    page = crew_client.get(f"/queue/slips/{way.booking.slip}/decline/").content.decode()
    assert "4 × Mug" in page


def test_a_kiln_that_does_not_reach_the_cone_is_not_counted(way, crew_client):
    scene.kiln(name="Wren", cone_limit="06")
    names = [one.kiln.name for one in crew_client.get("/queue/").context["queues"][0].kilns]
    assert names == ["Heron"]


def test_one_queue_lists_slips_and_leads_to_a_plan(way, crew_client):
    page = crew_client.get("/queue/bisque/04/").content.decode()
    assert way.booking.slip in page
    assert "/firings/plan/?stage=bisque&amp;cone=04" in page
    planned = crew_client.get("/firings/plan/?stage=bisque&cone=04")
    assert planned.context["form"]["cone"].value() == "04"


def test_a_queue_of_no_stage_or_cone_is_not_found(crew_client):
    assert crew_client.get("/queue/raku/04/").status_code == 404
    assert crew_client.get("/queue/bisque/99/").status_code == 404


def test_declining_needs_a_reason_and_tells_the_member(way, crew_client):
    url = f"/queue/slips/{way.booking.slip}/decline/"
    assert crew_client.post(url, {"note": "wet"}).status_code == 422
    answer = crew_client.post(url, {"reason": "wet", "note": "Still cool to the hand."})
    assert answer.status_code == 303
    way.booking.refresh_from_db()
    assert way.booking.state == BookingState.DECLINED
    assert Notice.objects.get(kind="declined").person == way.member


def test_declining_for_another_reason_without_a_word_keeps_what_was_chosen(way, crew_client):
    answer = crew_client.post(f"/queue/slips/{way.booking.slip}/decline/", {"reason": "other"})
    assert answer.status_code == 409
    assert "Say in a few words why." in answer.content.decode()
    way.booking.refresh_from_db()
    assert way.booking.state == BookingState.WAITING


@pytest.mark.parametrize("path", ["/queue/", "/queue/bisque/04/", "/firings/", "/pick-up/"])
def test_members_do_not_see_the_pages_for_crew(way, path):
    assert client_of(way.member).get(path).status_code == 403


@pytest.mark.parametrize("path", ["/queue/", "/firings/", "/kilns-now/", "/pick-up/"])
def test_nobody_sees_them_without_signing_in(way, client, path):
    answer = client.get(path)
    assert answer.status_code == 302
    assert "/entry/login/" in answer["Location"]


@pytest.mark.parametrize("path", ["/queue/", "/queue/bisque/04/"])
def test_queries_do_not_grow_with_slips(way, crew_client, path):
    with_one = queries_of(crew_client, path)
    for day in (1, 2):
        scene.booking(scene.person(f"Otto{day}"), at=way.now - timedelta(days=day))
    scene.kiln(name="Wren")
    assert queries_of(crew_client, path) == with_one <= 12
