"""The pick-up shelf, the kilns at a glance, and what crew see on their home page."""

from datetime import timedelta

import pytest

from firings.actions.end_firing import abort_firing
from firings.models import BookingState, CareKind, CareTask
from tests import scene
from tests.firings.pages.crew_scene import client_of, queries_of


@pytest.fixture
def on_shelf(way):
    """Four mugs that were unloaded just now."""
    scene.unloaded(way.crew, way.opened(), at=way.now)
    way.booking.refresh_from_db()
    return way.booking


def test_the_shelf_shows_what_waits_place_by_place(on_shelf, crew_client):
    answer = crew_client.get("/pick-up/")
    assert [place for place, _ in answer.context["places"]] == ["Shelf B"]
    page = answer.content.decode()
    assert on_shelf.slip in page
    assert "Overdue" not in page


def test_what_is_overdue_says_so(way, on_shelf, crew_client):
    on_shelf.pick_up_by = (way.now - timedelta(days=3)).date()
    on_shelf.save()
    assert "Overdue since" in crew_client.get("/pick-up/").content.decode()
    assert "Overdue on the pick-up shelf" in crew_client.get("/").content.decode()


def test_a_slip_is_found_as_typed_and_collected(on_shelf, crew_client):
    answer = crew_client.get("/pick-up/", {"slip": on_shelf.slip.lower()})
    assert answer.context["found"] == on_shelf
    assert "It is collected" in answer.content.decode()
    done = crew_client.post(f"/pick-up/{on_shelf.slip}/hand-out/", follow=True)
    assert f"Slip {on_shelf.slip} is collected." in done.content.decode()
    on_shelf.refresh_from_db()
    assert on_shelf.state == BookingState.COLLECTED


def test_crew_put_right_where_ware_stands_and_what_broke(on_shelf, crew_client):
    page = crew_client.get("/pick-up/", {"slip": on_shelf.slip}).content.decode()
    url = f"/pick-up/{on_shelf.slip}/put-right/"
    assert url in page
    form = crew_client.get(url)
    assert on_shelf.pick_up_place in form.content.decode()
    pieces = list(on_shelf.pieces.all())
    sent = {"place": on_shelf.pick_up_place}
    sent |= {f"outcome_{piece.pk}": "broken" for piece in pieces}
    silent = crew_client.post(url, sent)
    assert silent.status_code == 409
    assert "Say what happened to" in silent.content.decode()
    sent |= {f"note_{piece.pk}": "the shelf fell" for piece in pieces}
    done = crew_client.post(url, sent, follow=True)
    assert f"Slip {on_shelf.slip} is lost." in done.content.decode()


def test_a_slip_that_is_not_there_is_told(on_shelf, crew_client):
    for typed, message in (("rubbish", "is no slip code"), ("000000", "No booking has the slip")):
        answer = crew_client.get("/pick-up/", {"slip": typed})
        assert answer.status_code == 200
        assert message in answer.content.decode()


def test_ware_is_collected_once(on_shelf, crew_client):
    url = f"/pick-up/{on_shelf.slip}/hand-out/"
    crew_client.post(url)
    answer = crew_client.post(url, headers={"referer": "http://testserver/pick-up/"}, follow=True)
    assert "is not on the pick-up shelf: it is collected" in answer.content.decode()


def test_the_shelfs_queries_do_not_grow_with_slips(way, on_shelf, crew_client):
    with_one = queries_of(crew_client, "/pick-up/")
    for name in ("Otto", "Runa"):
        other = scene.booking(scene.person(name), at=way.now - timedelta(days=1))
        other.state, other.firing = BookingState.READY, on_shelf.firing
        other.pick_up_place, other.ready_at = "Shelf A", way.now
        other.pick_up_by = way.now.date()
        other.save()
    assert queries_of(crew_client, "/pick-up/") == with_one <= 8


def test_kilns_now_shows_what_runs_and_what_care_is_due(way, crew_client):
    firing = way.hot()
    task = CareTask.objects.create(kiln=way.kiln, kind=CareKind.VACUUM, due_since=way.now)
    page = crew_client.get("/kilns-now/").content.decode()
    assert str(firing) in page
    assert "Vacuum the kiln" in page
    answer = crew_client.post(f"/care/{task.pk}/finish/", follow=True)
    assert "Done: vacuum the kiln, Heron." in answer.content.decode()
    task.refresh_from_db()
    assert task.done_by == way.crew


def test_a_kiln_whose_firing_was_broken_off_may_be_hot(way, crew_client):
    firing = abort_firing(by=way.crew, at=way.now, firing=way.hot(), reason="The relay stuck.")
    page = crew_client.get("/kilns-now/").content.decode()
    assert str(firing) in page
    assert "It may be hot, and its ware still in it." in page
    firing.closed_at = way.now - timedelta(days=3)
    firing.save()
    assert "It may be hot" not in crew_client.get("/kilns-now/").content.decode()


def test_a_first_firing_is_done_by_firing_only(way, crew_client):
    task = CareTask.objects.create(kiln=way.kiln, kind=CareKind.FIRST_FIRING, due_since=way.now)
    page = crew_client.get("/kilns-now/").content.decode()
    assert "done by firing it" in page
    assert f"/care/{task.pk}/finish/" not in page
    answer = crew_client.post(f"/care/{task.pk}/finish/")
    assert answer.status_code == 409


def test_kilns_nows_queries_do_not_grow_with_kilns(way, crew_client):
    with_one = queries_of(crew_client, "/kilns-now/")
    for name in ("Wren", "Swift"):
        scene.planned(way.crew, scene.kiln(name=name), at=way.now)
    assert queries_of(crew_client, "/kilns-now/") == with_one <= 10


def test_crew_see_hot_kilns_and_care_at_home_and_members_do_not(way, crew_client):
    way.hot()
    CareTask.objects.create(kiln=way.kiln, kind=CareKind.VACUUM, due_since=way.now)
    page = crew_client.get("/").content.decode()
    assert "Kilns in use" in page
    assert "Kiln care due" in page
    members = client_of(way.member).get("/").content.decode()
    assert "Kilns in use" not in members
    assert "Kiln care due" not in members


def test_only_crew_hand_out_and_care(way, on_shelf):
    task = CareTask.objects.create(kiln=way.kiln, kind=CareKind.VACUUM, due_since=way.now)
    member = client_of(way.member)
    assert member.post(f"/pick-up/{on_shelf.slip}/hand-out/").status_code == 403
    assert member.post(f"/pick-up/{on_shelf.slip}/put-right/").status_code == 403
    assert member.post(f"/care/{task.pk}/finish/").status_code == 403
    assert member.get("/kilns-now/").status_code == 403
