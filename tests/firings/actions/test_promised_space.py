"""What is promised on an announced firing can be loaded: the plan behind it is kept and mended."""

from dataclasses import replace
from datetime import timedelta

import pytest

from firings.actions.arrange_load import move_piece
from firings.actions.bookings import correct_piece, decline_booking, withdraw_booking
from firings.actions.hold_load import lock_piece
from firings.actions.load import fill_load
from firings.actions.plan_firing import announce_firing, begin_loading
from firings.actions.promised_space import promises_fit
from firings.actions.ware import edit_firing_policy
from firings.models import Placement
from firings.refusals import WareRefusal
from tests import scene
from tests.scene import NOON

pytestmark = pytest.mark.django_db

SIZES = [(90, 100), (140, 70), (200, 60), (120, 220), (70, 90)]


@pytest.fixture
def cosmo():
    return scene.crew()


@pytest.fixture
def firing(cosmo):
    soon = NOON + timedelta(days=3)
    planned = scene.planned(cosmo, scene.kiln(), planned_for=soon)
    return announce_firing(by=cosmo, at=NOON, firing=planned)


def book_until_full(firing, member):
    """Slips of three like pieces, until the kiln is full twice over."""
    taken, refused = [], 0
    while refused < 2:
        across, height = SIZES[(len(taken) + refused) % len(SIZES)]
        ware = [replace(scene.MUG, across_mm=across, height_mm=height, count=3)]
        try:
            taken.append(scene.booking(member, firing=firing, pieces=ware))
        except WareRefusal:
            refused += 1
    firing.refresh_from_db()
    return taken


def planned_ids(firing):
    return {int(put[0]) for layer in firing.promised_plan for put in layer[4]}


def test_all_that_was_promised_is_in_the_load_and_others_wait(cosmo, firing):
    ines = scene.person("Ines")
    waits = [scene.booking(ines, pieces=[replace(scene.MUG, count=20)]) for _ in range(3)]
    promised = book_until_full(firing, ines)
    assert len(promised) > 5
    begin_loading(by=cosmo, at=NOON, firing=firing)
    proposal = fill_load(by=cosmo, at=NOON, firing=firing)
    assert set(promised) <= set(proposal.placed)
    assert not set(promised) & set(proposal.left_out)
    assert set(waits) <= set(proposal.left_out)


def test_the_kept_plan_follows_bookings_withdrawals_and_refusals(cosmo, firing):
    ines = scene.person("Ines")
    first, second, third = (scene.booking(ines, firing=firing) for _ in range(3))
    firing.refresh_from_db()
    everything = {piece.pk for one in (first, second, third) for piece in one.pieces.all()}
    assert planned_ids(firing) == everything
    withdraw_booking(by=ines, at=NOON, booking=first)
    decline_booking(by=cosmo, at=NOON, booking=second, reason="wet")
    firing.refresh_from_db()
    assert planned_ids(firing) == {piece.pk for piece in third.pieces.all()}


def test_a_slip_withdrawn_makes_room_for_the_next(firing):
    ines = scene.person("Ines")
    full = {"shelf_fraction": "full", "shelf_height_mm": 90, "firing": firing}
    slips = [scene.booking(ines, **full) for _ in range(3)]
    with pytest.raises(WareRefusal, match="no room left"):
        scene.booking(ines, **full)
    withdraw_booking(by=ines, at=NOON, booking=slips[0])
    assert scene.booking(ines, **full).is_promised


def test_a_new_size_is_planned_anew(cosmo, firing):
    booking = scene.booking(scene.person("Ines"), firing=firing)
    piece = booking.pieces.first()
    correct_piece(by=cosmo, at=NOON, piece=piece, shape="round", across_mm=200, height_mm=150)
    firing.refresh_from_db()
    assert promises_fit(firing)
    assert piece.pk in planned_ids(firing)


def test_a_promise_that_no_longer_fits_is_told_to_crew(cosmo, firing, client):
    """Three whole shelves are booked; a slip of mugs then turns out to be vases."""
    ines = scene.person("Ines")
    mugs = scene.booking(ines, firing=firing)
    for _ in range(3):
        scene.booking(ines, shelf_fraction="full", shelf_height_mm=90, firing=firing)
    for piece in mugs.pieces.all():
        correct_piece(by=cosmo, at=NOON, piece=piece, shape="round", across_mm=180, height_mm=380)
    firing.refresh_from_db()
    assert not promises_fit(firing)
    client.force_login(cosmo)
    page = client.get(f"/firings/{firing.pk}/").content.decode()
    assert "Not all that is promised fits any more" in page


class TestBundles:
    @pytest.fixture
    def nests(self):
        """A kiln in a studio that allows all of it."""
        kiln = scene.kiln()
        chief = scene.manager("Mona")
        fields = {"bowls_nested_at_most": 3, "lids_on_jars": True, "tiles_on_edge": True}
        edit_firing_policy(by=chief, at=NOON, fields=fields)
        return kiln

    def test_bundled_ware_is_placed_with_what_carries_it(self, cosmo, nests, client):
        bowl = replace(scene.MUG, name="Bowl", across_mm=180, height_mm=60, count=5)
        booking = scene.booking(scene.person("Ines"), pieces=[bowl])
        charged = booking.charged_area_mm2
        firing = scene.loading(cosmo, nests)
        puts = list(Placement.objects.filter(piece__booking=booking).order_by("piece_id"))
        assert len(puts) == 5
        riders = [put for put in puts if put.carried_by_id]
        assert len(riders) == 3
        for put in riders:
            carrier = put.carried_by.placement
            assert (put.x_mm, put.y_mm, put.layer_id, put.stands) == (
                carrier.x_mm, carrier.y_mm, carrier.layer_id, "nest",
            )  # fmt: skip
        booking.refresh_from_db()
        assert booking.charged_area_mm2 == charged
        client.force_login(cosmo)
        page = client.get(f"/firings/{firing.pk}/load/").content.decode()
        assert page.count("stands in the bowl below") == 3
        layers = client.get(f"/api/v1/firings/{firing.pk}/layout/").json()
        told = [put["stands"] for layer in layers for put in layer["placements"]]
        assert sorted(told) == ["", ""] + ["stands in the bowl below"] * 3

    def test_glazed_bowls_never_nest(self, cosmo, nests):
        bowl = replace(scene.MUG, name="Bowl", across_mm=150, height_mm=60, count=3)
        scene.booking(scene.person("Ines"), stage="glaze", pieces=[bowl])
        firing = scene.loading(cosmo, nests, stage="glaze", cone="6")
        assert not Placement.objects.filter(layer__firing=firing, carried_by__isnull=False)

    def test_riders_go_where_their_carrier_goes_and_not_by_themselves(self, cosmo, nests):
        bowl = replace(scene.MUG, name="Bowl", across_mm=180, height_mm=60, count=3)
        scene.booking(scene.person("Ines"), pieces=[bowl])
        firing = scene.loading(cosmo, nests)
        rider = Placement.objects.filter(carried_by__isnull=False).first()
        carrier = rider.carried_by
        where = {"firing": firing, "stack": "whole", "position": 1, "x_mm": 0, "y_mm": 0}
        with pytest.raises(WareRefusal, match="goes where Bowl goes"):
            move_piece(by=cosmo, at=NOON, piece=rider.piece, **where)
        with pytest.raises(WareRefusal, match="goes where Bowl goes"):
            lock_piece(by=cosmo, at=NOON, firing=firing, piece=rider.piece, is_locked=True)
        move_piece(by=cosmo, at=NOON, piece=carrier, **where)
        rider.refresh_from_db()
        assert (rider.x_mm, rider.y_mm) == (0, 0)
        fill_load(by=cosmo, at=NOON, firing=firing)
        again = Placement.objects.get(piece=rider.piece)
        assert (again.x_mm, again.y_mm, again.carried_by_id) == (0, 0, carrier.pk)

    def test_a_carrier_measured_again_lets_go_of_what_it_carried(self, cosmo, nests):
        bowl = replace(scene.MUG, name="Bowl", across_mm=180, height_mm=60, count=3)
        scene.booking(scene.person("Ines"), pieces=[bowl])
        scene.loading(cosmo, nests)
        carrier = Placement.objects.filter(carried_by__isnull=False).first().carried_by
        correct_piece(by=cosmo, at=NOON, piece=carrier, shape="round", across_mm=170, height_mm=60)
        assert not Placement.objects.exists()
