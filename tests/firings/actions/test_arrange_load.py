"""Crew overrule the planner: moved, swapped, turned, held. A refusal leaves the load as it was."""

from dataclasses import replace

import pytest

from firings.actions.arrange_load import move_piece, nudge_piece, swap_pieces, turn_piece
from firings.actions.hold_load import (
    allow_slip,
    give_room_back,
    keep_room_free,
    keep_slip_out,
    lock_layer,
    lock_piece,
    set_layer_height,
)
from firings.actions.load import fill_load, put_in_load
from firings.models import BookingState, Firing, LayerHold, Placement, StaysOut, WhyOut
from firings.refusals import WareRefusal
from studio.refusals import Denied
from tests import scene
from tests.scene import NOON

pytestmark = pytest.mark.django_db
TILE = replace(scene.MUG, name="Tile", shape="rectangle", across_mm=150, depth_mm=60, height_mm=20)
VASE = replace(scene.MUG, name="Vase", across_mm=100, height_mm=230)


@pytest.fixture
def cosmo():
    return scene.crew()


@pytest.fixture
def ines():
    return scene.person("Ines")


@pytest.fixture
def kiln():
    return scene.kiln()


@pytest.fixture
def ware(ines, kiln):
    """A tile, and a mug as high as the layer will be."""
    return scene.booking(ines, pieces=[TILE, scene.MUG])


@pytest.fixture
def firing(cosmo, kiln, ware):
    return scene.loading(cosmo, kiln)


@pytest.fixture
def tile(ware):
    return ware.pieces.get(name="Tile")


@pytest.fixture
def mug(ware):
    return ware.pieces.get(name="Mug")


@pytest.fixture
def spread(cosmo, firing, tile, mug):
    """The tile at the back, the mug in front, on one layer."""
    for piece, y_mm in ((mug, -60.0), (tile, 40.0)):
        put = {"x_mm": 0.0, "y_mm": y_mm, "turn_deg": 0, "is_locked": True}
        Placement.objects.filter(piece=piece).update(**put)
    firing.layers.update(cone_pack=[-120.0, -60.0, 90])
    return firing


def where(piece):
    put = Placement.objects.get(piece=piece)
    return put.x_mm, put.y_mm, put.turn_deg, put.is_locked


def refusal_of(action, **named):
    """The refusal, after which nothing in the load may be different."""
    before = list(Placement.objects.order_by("pk").values())
    revision = Firing.objects.get(pk=named["firing"].pk).load_revision
    with pytest.raises(WareRefusal) as refused:
        action(at=NOON, **named)
    assert list(Placement.objects.order_by("pk").values()) == before
    assert Firing.objects.get(pk=named["firing"].pk).load_revision == revision
    return refused.value


class TestMoving:
    def test_a_moved_piece_stands_there_locked(self, cosmo, spread, mug):
        Placement.objects.update(is_locked=False)
        move_piece(
            by=cosmo, at=NOON, firing=spread, piece=mug, stack="whole", position=1, x_mm=20.0,
            y_mm=-90.0,
        )  # fmt: skip
        assert where(mug) == (20, -90, 0, True)

    def test_without_a_place_it_goes_to_the_nearest_free_one(self, cosmo, spread, tile):
        before = where(tile)[:2]
        move_piece(by=cosmo, at=NOON, firing=spread, piece=tile, stack="whole", position=1)
        x_mm, y_mm = where(tile)[:2]
        # it stood free already: the grid of 4 mm is looked over nearest first
        assert abs(x_mm - before[0]) <= 4
        assert abs(y_mm - before[1]) <= 4

    def test_it_is_nudged_to_the_millimetre(self, cosmo, spread, mug):
        nudge_piece(by=cosmo, at=NOON, firing=spread, piece=mug, right_mm=-1, back_mm=10)
        assert where(mug)[:2] == (-1, -50)

    def test_it_is_turned(self, cosmo, spread, tile):
        turn_piece(by=cosmo, at=NOON, firing=spread, piece=tile, turn_deg=-15)
        assert where(tile)[2] == 345

    def test_two_change_places(self, cosmo, spread, mug, tile):
        swap_pieces(by=cosmo, at=NOON, firing=spread, piece=mug, other=tile)
        assert (where(mug)[:2], where(tile)[:2]) == ((0, 40), (0, -60))

    def test_each_change_counts(self, cosmo, spread, mug):
        before = Firing.objects.get(pk=spread.pk).load_revision
        nudge_piece(by=cosmo, at=NOON, firing=spread, piece=mug, right_mm=1, back_mm=0)
        assert Firing.objects.get(pk=spread.pk).load_revision == before + 1

    def test_what_would_overlap_is_refused(self, cosmo, spread, mug, ware):
        refusal = refusal_of(
            move_piece, by=cosmo, firing=spread, piece=mug, stack="whole", position=1, x_mm=0.0,
            y_mm=20.0,
        )  # fmt: skip
        assert refusal.code == "cannot_stand"
        # the tile reaches from y 10 to 70, the mug of radius 45 from -25
        assert f"of slip {ware.slip} on layer 1 overlap by" in refusal.message

    def test_what_has_no_corners_is_not_turned(self, cosmo, spread, mug):
        refusal = refusal_of(turn_piece, by=cosmo, firing=spread, piece=mug, turn_deg=15)
        assert refusal.code == "nothing_to_turn"

    def test_a_piece_does_not_change_places_with_itself(self, cosmo, spread, mug):
        assert refusal_of(swap_pieces, by=cosmo, firing=spread, piece=mug, other=mug).code == (
            "same_piece"
        )

    def test_there_is_no_such_layer(self, cosmo, spread, mug):
        refusal = refusal_of(
            move_piece, by=cosmo, firing=spread, piece=mug, stack="whole", position=9
        )
        assert refusal.code == "no_such_layer"

    def test_half_a_place_is_none(self, cosmo, spread, mug):
        refusal = refusal_of(
            move_piece, by=cosmo, firing=spread, piece=mug, stack="whole", position=1, x_mm=1.0
        )
        assert refusal.code == "half_a_place"

    def test_a_locked_layer_is_unlocked_first(self, cosmo, spread, mug):
        lock_layer(by=cosmo, at=NOON, firing=spread, stack="whole", position=1, is_locked=True)
        refusal = refusal_of(nudge_piece, by=cosmo, firing=spread, piece=mug, right_mm=1, back_mm=0)
        assert refusal.code == "layer_locked"

    def test_a_started_firing_is_not_rearranged(self, cosmo, spread, mug):
        scene.started(cosmo, spread)
        refusal = refusal_of(nudge_piece, by=cosmo, firing=spread, piece=mug, right_mm=1, back_mm=0)
        assert refusal.code == "wrong_state"

    def test_members_move_nothing(self, ines, spread, mug):
        with pytest.raises(Denied):
            nudge_piece(by=ines, at=NOON, firing=spread, piece=mug, right_mm=1, back_mm=0)


class TestHolding:
    def test_what_is_locked_stays_when_planned_again(self, cosmo, ines, spread, mug, tile):
        before = (where(mug), where(tile))
        more = scene.booking(ines)
        proposal = fill_load(by=cosmo, at=NOON, firing=spread)
        assert (where(mug), where(tile)) == before
        assert more in proposal.placed

    def test_an_unlocked_piece_may_move_again(self, cosmo, spread, mug):
        lock_piece(by=cosmo, at=NOON, firing=spread, piece=mug, is_locked=False)
        assert where(mug)[3] is False

    def test_nothing_is_added_to_a_locked_layer(self, cosmo, ines, spread):
        spread.layers.update(cone_pack=None)
        lock_layer(by=cosmo, at=NOON, firing=spread, stack="whole", position=1, is_locked=True)
        scene.booking(ines)
        fill_load(by=cosmo, at=NOON, firing=spread)
        assert Placement.objects.filter(layer__firing=spread, layer__position=1).count() == 2

    def test_room_kept_free_stays_free(self, cosmo, ines, spread):
        keep_room_free(
            by=cosmo, at=NOON, firing=spread, stack="whole", position=1, width_mm=100,
            depth_mm=60, height_mm=90, x_mm=0.0, y_mm=115.0,
        )  # fmt: skip
        for _ in range(4):
            scene.booking(ines)
        fill_load(by=cosmo, at=NOON, firing=spread)
        # a mug's middle within its radius of the rectangle would stand in it
        mugs = Placement.objects.filter(layer__position=1, piece__name="Mug")
        assert not [put for put in mugs if abs(put.x_mm) < 50 and 85 < put.y_mm < 145]
        assert mugs.count() > 4
        assert LayerHold.objects.get().keep_free[0]["height_mm"] == 90

    def test_room_with_ware_in_it_is_refused(self, cosmo, spread):
        refusal = refusal_of(
            keep_room_free, by=cosmo, firing=spread, stack="whole", position=1, width_mm=50,
            depth_mm=50, height_mm=90, x_mm=0.0, y_mm=40.0,
        )  # fmt: skip
        assert "stands in the room kept free on layer 1" in refusal.message

    def test_room_larger_than_a_shelf_is_refused(self, cosmo, spread):
        refusal = refusal_of(
            keep_room_free, by=cosmo, firing=spread, stack="whole", position=1, width_mm=500,
            depth_mm=500, height_mm=90,
        )  # fmt: skip
        assert refusal.code == "no_free_place"

    def test_room_that_is_not_kept_is_not_given_back(self, cosmo, spread):
        refusal = refusal_of(
            give_room_back, by=cosmo, firing=spread, stack="whole", position=1, number=1
        )
        assert refusal.code == "no_such_room"

    def test_posts_that_the_studio_has_not_are_refused(self, cosmo, spread):
        refusal = refusal_of(
            set_layer_height, by=cosmo, firing=spread, stack="whole", position=1, posts_mm=[99]
        )
        assert refusal.code == "no_such_post"

    def test_a_slip_kept_out_waits_and_is_told_why(self, cosmo, spread, ware):
        keep_slip_out(by=cosmo, at=NOON, firing=spread, booking=ware)
        proposal = fill_load(by=cosmo, at=NOON, firing=spread)
        ware.refresh_from_db()
        assert (ware.state, ware.firing, proposal.placed) == (BookingState.WAITING, None, [])
        assert StaysOut.objects.get(booking=ware).why == WhyOut.KEPT_OUT
        assert refusal_of(put_in_load, by=cosmo, firing=spread, booking=ware).code == "kept_out"
        allow_slip(by=cosmo, at=NOON, firing=spread, booking=ware)
        assert fill_load(by=cosmo, at=NOON, firing=spread).placed == [ware]

    def test_what_was_never_kept_out_is_not_allowed_again(self, cosmo, spread, ware):
        refusal = refusal_of(allow_slip, by=cosmo, firing=spread, booking=ware)
        assert refusal.code == "not_kept_out"

    def test_wet_ware_is_told_so_on_the_firing(self, cosmo, ines, spread):
        wet = scene.booking(ines, dry_on=scene.tomorrow())
        fill_load(by=cosmo, at=NOON, firing=spread)
        assert StaysOut.objects.get(booking=wet).why == WhyOut.NOT_DRY

    def test_posts_set_by_crew_are_used(self, cosmo, ines, kiln, spread):
        set_layer_height(
            by=cosmo, at=NOON, firing=spread, stack="whole", position=1, posts_mm=[152, 127]
        )
        scene.booking(ines, pieces=[replace(VASE, count=3)])
        scene.booking(ines, pieces=[replace(scene.MUG, count=20)])
        fill_load(by=cosmo, at=NOON, firing=spread)
        above = spread.layers.get(position=2)
        assert sum(above.posts_mm) == 279
