"""The load page: picked, moved, locked and planned again, over HTTP without scripts."""

import pytest

from firings.actions.plan_firing import begin_loading
from firings.models import LayerHold, LoadSearch, Placement, SearchState
from firings.tasks import look_for_better_load
from tests import scene
from tests.firings.pages.crew_scene import client_of, queries_of


@pytest.fixture
def firing(way, monkeypatch):
    """A kiln taken for a firing with a load; no worker is asked to look on."""
    monkeypatch.setattr(look_for_better_load, "delay", lambda pk: None)
    return scene.loading(way.crew, way.kiln, at=way.now)


@pytest.fixture
def url(firing):
    return f"/firings/{firing.pk}/load/"


@pytest.fixture
def put(firing):
    return Placement.objects.filter(layer__firing=firing).order_by("piece_id").first()


def post(client, url, path, **fields):
    """Send a form as a browser does, and read the page that follows."""
    return client.post(
        f"{url}{path}", fields, headers={"referer": f"http://testserver{url}"}, follow=True
    )


def test_the_proposal_is_drawn_with_fill_and_bound(way, crew_client, url):
    page = crew_client.get(url).content.decode()
    assert page.count("data-piece=") == 4
    assert "The best possible:" in page
    assert "Look again" in page


def test_a_search_from_nothing_fills_the_load(way, crew_client, monkeypatch):
    asked = []
    monkeypatch.setattr(look_for_better_load, "delay", asked.append)
    firing = begin_loading(by=way.crew, at=way.now, firing=way.planned())
    url = f"/firings/{firing.pk}/load/"
    assert "Look for a load" in crew_client.get(url).content.decode()
    page = post(crew_client, url, "search/").content.decode()
    assert "1 slip is in the load." in page
    assert LoadSearch.objects.get(firing=firing).state == SearchState.BEST


def test_a_picked_piece_is_nudged_and_locked(crew_client, url, put):
    post(crew_client, url, f"{put.piece_id}/move/", layer="whole:1", x_mm="0", y_mm="60")
    answer = post(crew_client, url, f"{put.piece_id}/nudge/", way="left", step_mm="10")
    put.refresh_from_db()
    page = answer.content.decode()
    assert "Moved, and locked there." in page
    assert (put.x_mm, put.y_mm, put.is_locked) == (-10, 60, True)


def test_a_piece_is_dropped_where_it_can_stand(crew_client, url, put):
    page = post(crew_client, url, f"{put.piece_id}/move/", layer="whole:1", x_mm="0", y_mm="60")
    put.refresh_from_db()
    assert "Moved, and locked there." in page.content.decode()
    assert (put.x_mm, put.y_mm, put.is_locked) == (0, 60, True)


def test_a_piece_dropped_over_the_edge_stays_where_it_was(crew_client, url, put):
    before = (put.x_mm, put.y_mm)
    answer = post(crew_client, url, f"{put.piece_id}/move/", layer="whole:1", x_mm="190", y_mm="0")
    page = answer.content.decode()
    put.refresh_from_db()
    assert (put.x_mm, put.y_mm, put.is_locked) == (*before, False)
    # The shelf ends at 197 mm; a mug of 90 mm in the middle of 190 mm reaches 235 mm.
    assert "sticks out over the edge of the shelf by 38.00 mm. Nothing was changed." in page


def test_what_cannot_be_read_is_told(crew_client, url, put):
    page = post(crew_client, url, f"{put.piece_id}/move/", layer="attic:1").content.decode()
    assert "Not done." in page


def test_a_layer_is_locked_and_unlocked(crew_client, url):
    post(crew_client, url, "layers/lock/", layer="whole:1", is_locked="1")
    assert LayerHold.objects.get().is_whole
    page = post(crew_client, url, "layers/lock/", layer="whole:1", is_locked="0").content.decode()
    assert "The layer is unlocked." in page
    assert not LayerHold.objects.exists()


def test_room_is_kept_free_in_the_readers_unit_and_given_back(crew_client, url):
    sizes = {"width_mm": "5", "depth_mm": "5", "height_mm": "8"}
    units = {f"{name}_unit": "cm" for name in sizes}
    post(crew_client, url, "rooms/keep/", layer="whole:1", **sizes, **units)
    room = LayerHold.objects.get().keep_free[0]
    assert (room["width_mm"], room["depth_mm"], room["height_mm"]) == (50, 50, 80)
    assert "Give the free room back" in crew_client.get(url).content.decode()
    post(crew_client, url, "rooms/give-back/", layer="whole:1", room="1")
    assert not LayerHold.objects.exists()


def test_a_slip_kept_out_says_so_until_it_is_allowed(way, crew_client, url):
    slip = way.booking.slip
    post(crew_client, url, "keep-out/", slip=slip)
    page = post(crew_client, url, "search/").content.decode()
    assert "Kept out by crew" in page
    assert "data-piece" not in page
    post(crew_client, url, "allow/", slip=slip)
    assert "data-piece" in post(crew_client, url, "search/").content.decode()


def test_only_crew_change_a_load_and_members_do_not_see_it(way, url, put):
    assert client_of(way.member).get(url).status_code == 403
    boss = client_of(scene.manager("Mika"))
    page = boss.get(url).content.decode()
    assert "data-piece" not in page
    assert boss.post(f"{url}{put.piece_id}/nudge/").status_code == 403
    assert boss.post(f"{url}search/").status_code == 403


def test_progress_tells_when_a_better_plan_stands(crew_client, url, firing):
    firing.refresh_from_db()
    same = crew_client.get(f"{url}progress/?revision={firing.load_revision}")
    other = crew_client.get(f"{url}progress/?revision=0")
    assert "HX-Trigger" not in same
    assert other["HX-Trigger"] == "load-changed"


def test_queries_do_not_grow_with_slips(way, crew_client, url):
    with_one = queries_of(crew_client, url)
    for name in ("Otto", "Runa"):
        scene.booking(scene.person(name), at=way.now)
    post(crew_client, url, "search/")
    assert queries_of(crew_client, url) == with_one <= 24
