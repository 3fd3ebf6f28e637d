"""The load of a firing by API: happy ways, refusals, and who may."""

import pytest
from django.utils import timezone

from firings.models import Booking, Placement
from firings.tasks import look_for_better_load
from studio.models import Role
from tests import scene
from tests.firings.pages.crew_scene import client_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def crew():
    return scene.crew()


@pytest.fixture
def firing(crew, monkeypatch):
    """A load of four mugs and a tray; no worker is asked to look on."""
    monkeypatch.setattr(look_for_better_load, "delay", lambda pk: None)
    now, ines, kiln = timezone.now(), scene.person("Ines"), scene.kiln()
    scene.booking(ines, at=now)
    tray = scene.PieceRequest(
        name="Tray", shape="rectangle", across_mm=120, depth_mm=80, height_mm=40
    )
    scene.booking(ines, at=now, pieces=[tray])
    return scene.loading(crew, kiln, at=now)


@pytest.fixture
def ask(crew, firing):
    """Post to the load as crew; answers the status and what was said."""
    client = client_of(crew)

    def posted(path, **sent):
        url = f"/api/v1/loads/{firing.pk}/{path}/"
        answer = client.post(url, sent, content_type="application/json")
        return answer.status_code, answer.json()

    return posted


def puts(name):
    return Placement.objects.filter(piece__name=name).order_by("piece_id")


def test_a_load_is_read_and_looked_for(ask, crew, firing):
    told = client_of(crew).get(f"/api/v1/loads/{firing.pk}/").json()
    assert (told["locked_pieces"], told["holds"], told["stays_out"]) == ([], [], [])
    status, told = ask("search")
    assert status == 200
    # everything is in, so no load can be better, and nothing is left to stop
    assert (told["search"]["state"], told["search"]["within_percent"]) == ("best", 0)
    assert told["search"]["area_mm2"] <= told["search"]["bound_mm2"]
    assert ask("stop-search")[0] == 404


def test_pieces_are_moved_turned_swapped_locked_and_freed(ask):
    mug, other, tray = puts("Mug")[0], puts("Mug")[1], puts("Tray")[0]
    status, told = ask("move-piece", piece=mug.piece_id, stack="whole", position=1)
    assert (status, told["locked_pieces"]) == (200, [mug.piece_id])
    status, told = ask("lock-piece", piece=mug.piece_id, is_locked=False)
    assert (status, told["locked_pieces"]) == (200, [])
    mug.refresh_from_db()
    before = (mug.x_mm, mug.y_mm)
    assert ask("swap-pieces", piece=mug.piece_id, other=other.piece_id)[0] == 200
    other.refresh_from_db()
    assert (other.x_mm, other.y_mm) == before
    assert ask("turn-piece", piece=tray.piece_id, turn_deg=180)[0] == 200
    assert Placement.objects.get(piece=tray.piece).turn_deg == (tray.turn_deg + 180) % 360


def test_layers_are_locked_raised_and_kept_free(ask):
    level = {"stack": "whole", "position": 1}
    status, told = ask("lock-layer", **level, is_locked=True)
    assert (status, told["holds"][0]["is_whole"]) == (200, True)
    assert ask("lock-layer", **level, is_locked=False)[1]["holds"] == []
    status, told = ask("set-layer-height", **level, posts_mm=[152])
    assert (status, told["holds"][0]["position"], told["holds"][0]["posts_mm"]) == (200, 2, [152])
    assert ask("set-layer-height", **level, posts_mm=None)[1]["holds"] == []
    room = {"width_mm": 40, "depth_mm": 30, "height_mm": 50}
    status, told = ask("keep-room-free", **level, **room)
    kept = told["holds"][0]["keep_free"][0]
    assert (status, {name: kept[name] for name in room}) == (200, room)
    assert ask("give-room-back", **level, number=1)[1]["holds"] == []


def test_a_slip_is_kept_out_and_allowed_again(ask):
    slip = Booking.objects.get(pieces__name="Tray")
    status, told = ask("keep-slip-out", booking=slip.pk)
    assert (status, told["kept_out"]) == (200, [slip.slip])
    assert ask("search")[1]["stays_out"][0]["why"] == "kept_out"
    assert ask("allow-slip", booking=slip.pk)[1]["kept_out"] == []
    assert ask("allow-slip", booking=slip.pk)[1]["code"] == "not_kept_out"


@pytest.mark.parametrize(
    ("path", "sent", "status", "code"),
    [
        ("move-piece", {"position": 1, "x_mm": 600, "y_mm": 0}, 409, "cannot_stand"),
        ("move-piece", {"position": 1, "x_mm": 3}, 409, "half_a_place"),
        ("move-piece", {"position": 9}, 404, "no_such_layer"),
        ("turn-piece", {"turn_deg": 90}, 409, "nothing_to_turn"),
        ("lock-layer", {"position": 9, "is_locked": True}, 404, "no_such_layer"),
        ("set-layer-height", {"position": 1, "posts_mm": [17]}, 409, "no_such_post"),
        ("give-room-back", {"position": 1, "number": 1}, 404, "no_such_room"),
        (
            "keep-room-free",
            {"position": 1, "width_mm": 900, "depth_mm": 900, "height_mm": 50},
            409,
            "no_free_place",
        ),
    ],
)
def test_what_a_load_refuses(ask, firing, path, sent, status, code):
    piece = puts("Mug")[0].piece_id
    takes_piece = path in ("move-piece", "turn-piece")
    level = {} if path == "turn-piece" else {"stack": "whole"}
    told = ask(path, **level, **sent, **({"piece": piece} if takes_piece else {}))
    assert (told[0], told[1]["code"]) == (status, code)
    firing.refresh_from_db()
    assert not Placement.objects.filter(is_locked=True)


@pytest.mark.parametrize(
    ("path", "sent"),
    [
        ("move-piece", {"piece": 0, "stack": "whole", "position": 1}),
        ("move-piece", {"piece": 1, "stack": "roof", "position": 1}),
        ("lock-piece", {"piece": 1}),
        ("keep-room-free", {"position": 1, "width_mm": -5, "depth_mm": 9, "height_mm": 9}),
        ("lock-layer", {"position": 1, "is_locked": True, "colour": "red"}),
    ],
)
def test_what_cannot_be_read_is_told_field_by_field(ask, path, sent):
    assert ask(path, **sent)[0] == 400


def test_a_piece_of_another_load_is_not_found(ask):
    stranger = scene.booking(scene.person("Otto"), at=timezone.now()).pieces.first()
    assert ask("lock-piece", piece=stranger.pk, is_locked=True)[0] == 404


def test_managers_read_and_only_crew_change(firing):
    url = f"/api/v1/loads/{firing.pk}/"
    manager = client_of(scene.person("Mona", Role.MANAGER))
    assert manager.get(url).status_code == 200
    assert manager.post(f"{url}search/").status_code == 403
    for name, role in (("Mia", Role.MEMBER), ("Tom", Role.TREASURER)):
        client = client_of(scene.person(name, role))
        assert client.get(url).status_code == 403
        assert client.post(f"{url}search/").status_code == 403


def test_nobody_is_asked_who_they_are_in_vain(client, firing):
    assert client.get(f"/api/v1/loads/{firing.pk}/").status_code in (401, 403)


def test_a_started_load_is_changed_no_more(ask, crew, firing):
    piece = puts("Mug")[0].piece_id
    scene.started(crew, firing, at=timezone.now())
    status, told = ask("lock-piece", piece=piece, is_locked=True)
    assert (status, told["code"]) == (409, "wrong_state")


def test_reading_a_load_asks_as_often_for_many_slips(crew, firing, django_assert_max_num_queries):
    client = client_of(crew)
    url = f"/api/v1/loads/{firing.pk}/"
    client.get(url)
    with django_assert_max_num_queries(20):
        client.get(url)
