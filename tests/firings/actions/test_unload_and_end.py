"""A kiln is unloaded and its firing ends: closed with its energy, or broken off."""

from datetime import timedelta
from decimal import Decimal

import pytest

from firings.actions.bookings import collect_booking
from firings.actions.end_firing import abort_firing, close_firing
from firings.actions.kilns import ShelvesWanted, add_kiln, set_shelves
from firings.actions.load import usable_area_mm2
from firings.actions.open_and_unload import (
    ConeSeen,
    correct_shelving,
    open_firing,
    record_witness_cones,
    shelve_booking,
)
from firings.actions.plan_firing import begin_loading
from firings.actions.readings import add_firing_readings
from firings.actions.remind_pick_ups import remind_pick_ups
from firings.calculations.readings import Reading as Moment
from firings.facts import firing_closed
from firings.models import BookingState, Firing, FiringState, KilnState
from firings.refusals import WareRefusal
from studio.actions.trail import trail_of
from studio.models import Notice
from studio.refusals import Denied
from tests import scene
from tests.scene import NOON

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("nobody_listens")]


@pytest.fixture
def cosmo():
    return scene.crew()


@pytest.fixture
def ines():
    return scene.person("Ines")


@pytest.fixture
def opened(cosmo, ines):
    """An opened firing with one slip of four mugs in it, and the moment after."""
    kiln = scene.kiln()
    scene.booking(ines)
    firing = scene.started(cosmo, scene.loading(cosmo, kiln))
    firing, ended_at = scene.cooled(cosmo, firing)
    return scene.opened(cosmo, firing, at=ended_at)


def shelve(cosmo, opened, **wanted):
    booking = opened.bookings.get()
    at = opened.opened_at
    return shelve_booking(by=cosmo, at=at, booking=booking, **{"place": "Shelf B", **wanted})


class TestUnloading:
    def test_the_member_is_told_how_many_where_and_until_when(self, cosmo, ines, opened):
        booking = shelve(cosmo, opened)
        facts = Notice.objects.get(kind="ready", person=ines).facts
        assert booking.state == BookingState.READY
        assert (facts["count"], facts["place"]) == (4, "Shelf B")
        assert facts["pick_up_by"] == (opened.opened_at + timedelta(days=14)).date().isoformat()

    def test_each_piece_has_its_own_outcome(self, cosmo, opened):
        cracked, broken, *_ = opened.bookings.get().pieces.all()
        outcomes = {cracked.pk: ("cracked", "at the handle"), broken.pk: ("broken", "")}
        booking = shelve(cosmo, opened, outcomes=outcomes)
        facts = Notice.objects.get(kind="ready").facts
        assert sorted(piece.outcome for piece in booking.pieces.all()) == [
            "broken", "cracked", "sound", "sound",
        ]  # fmt: skip
        assert (facts["count"], facts["sound"]) == (3, 2)

    def test_when_all_is_broken_the_booking_is_lost(self, cosmo, opened):
        pieces = opened.bookings.get().pieces.all()
        outcomes = {piece.pk: ("broken", "the shelf above fell") for piece in pieces}
        assert shelve(cosmo, opened, place="", outcomes=outcomes).state == BookingState.LOST
        assert Notice.objects.filter(kind="lost").exists()
        assert trail_of(opened.bookings.get()).last().deed == "lost"

    def test_ware_needs_a_place_and_is_shelved_once(self, cosmo, opened):
        with pytest.raises(WareRefusal, match="where"):
            shelve(cosmo, opened, place=" ")
        shelve(cosmo, opened)
        with pytest.raises(WareRefusal, match="once"):
            shelve(cosmo, opened)

    def test_a_piece_of_another_slip_is_refused(self, cosmo, ines, opened):
        stranger = scene.booking(ines).pieces.first()
        with pytest.raises(WareRefusal) as caught:
            shelve(cosmo, opened, outcomes={stranger.pk: ("broken", "")})
        assert caught.value.code == "piece_of_another_slip"

    def test_where_ware_stands_is_put_right_and_its_member_told_again(self, cosmo, ines, opened):
        booking = shelve(cosmo, opened)
        collect_by = booking.pick_up_by
        booking = correct_shelving(by=cosmo, at=NOON, booking=booking, place="Shelf C")
        assert (booking.state, booking.pick_up_place) == (BookingState.READY, "Shelf C")
        assert booking.pick_up_by == collect_by
        told = Notice.objects.filter(kind="ready", person=ines).order_by("pk")
        assert [notice.facts["place"] for notice in told] == ["Shelf B", "Shelf C"]

    def test_what_breaks_on_the_shelf_is_recorded_and_the_rest_still_waits(self, cosmo, opened):
        cracked, broken, *_ = opened.bookings.get().pieces.all()
        shelve(cosmo, opened, outcomes={cracked.pk: ("cracked", "at the handle")})
        booking = correct_shelving(
            by=cosmo,
            at=NOON,
            booking=opened.bookings.get(),
            place="Shelf B",
            outcomes={broken.pk: ("broken", "knocked off the shelf")},
        )
        assert booking.state == BookingState.READY
        assert sorted(piece.outcome for piece in booking.pieces.all()) == [
            "broken", "cracked", "sound", "sound",
        ]  # fmt: skip

    def test_ware_that_all_broke_on_the_shelf_is_lost(self, cosmo, opened):
        booking = shelve(cosmo, opened)
        outcomes = {piece.pk: ("broken", "the shelf fell") for piece in booking.pieces.all()}
        booking = correct_shelving(by=cosmo, at=NOON, booking=booking, place="", outcomes=outcomes)
        assert booking.state == BookingState.LOST
        assert Notice.objects.get(kind="lost").facts["faults"][0][2] == "the shelf fell"

    def test_putting_right_needs_what_happened_a_place_and_ware_on_the_shelf(self, cosmo, opened):
        booking = opened.bookings.get()
        piece = booking.pieces.first()
        with pytest.raises(WareRefusal, match="only what waits on the pick-up shelf"):
            correct_shelving(by=cosmo, at=NOON, booking=booking, place="Shelf C")
        booking = shelve(cosmo, opened)
        with pytest.raises(WareRefusal, match="Say what happened to"):
            correct_shelving(
                by=cosmo,
                at=NOON,
                booking=booking,
                place="Shelf B",
                outcomes={piece.pk: ("broken", " ")},
            )
        with pytest.raises(WareRefusal, match="Say where"):
            correct_shelving(by=cosmo, at=NOON, booking=booking, place=" ")
        with pytest.raises(Denied):
            correct_shelving(by=scene.person("Otto"), at=NOON, booking=booking, place="Shelf C")
        assert booking.pieces.first().outcome == "sound"

    def test_collected_by_its_member_once(self, cosmo, ines, opened):
        booking = shelve(cosmo, opened)
        with pytest.raises(Denied):
            collect_booking(by=scene.person("Otto"), at=NOON, booking=booking)
        booking = collect_booking(by=ines, at=NOON, booking=booking)
        assert booking.state == BookingState.COLLECTED
        with pytest.raises(WareRefusal, match="not on the pick-up shelf"):
            collect_booking(by=ines, at=NOON, booking=booking)

    def test_reminded_each_week_until_collected(self, cosmo, ines, opened):
        booking = shelve(cosmo, opened)
        ready_at = booking.ready_at
        assert remind_pick_ups(at=ready_at + timedelta(days=6)) == 0
        assert remind_pick_ups(at=ready_at + timedelta(days=8)) == 1
        assert remind_pick_ups(at=ready_at + timedelta(days=9)) == 0
        assert remind_pick_ups(at=ready_at + timedelta(days=15)) == 1
        collect_booking(by=ines, at=NOON, booking=booking)
        assert remind_pick_ups(at=ready_at + timedelta(days=30)) == 0

    def test_a_bisque_asks_for_the_vacuum(self, opened):
        assert opened.kiln.care_tasks.get(done_at=None).kind == "vacuum"

    def test_witness_cones_are_written_and_corrected(self, cosmo, opened):
        for bend in ("0.40", "0.90"):
            seen = [ConeSeen(layer=1, cone="04", bend=Decimal(bend))]
            record_witness_cones(by=cosmo, at=NOON, firing=opened, cones=seen)
        assert opened.witness_cones.get().bend == Decimal("0.90")
        bad = [ConeSeen(layer=1, cone="04", bend=Decimal(90))]
        with pytest.raises(WareRefusal, match="between 0"):
            record_witness_cones(by=cosmo, at=NOON, firing=opened, cones=bad)


class TestClosing:
    def test_with_the_meter(self, cosmo, opened):
        shelve(cosmo, opened)
        firing = close_firing(
            by=cosmo, at=opened.opened_at, firing=opened, result="reached",
            register_end_wh=1_042_000,
        )  # fmt: skip
        assert (firing.state, firing.energy_wh) == (FiringState.CLOSED, 42_000)
        assert firing.energy_source == "meter_register"
        # the published-style example of a 42 kWh run on a class-B meter: u about 0.487 kWh
        assert firing.energy_uncertainty_wh == pytest.approx(487, abs=2)
        assert sum(wh for _, _, wh in firing.energy_working["profile"]) == 42_000

    def test_not_before_every_slip_is_on_the_shelf(self, cosmo, opened):
        with pytest.raises(WareRefusal) as caught:
            close_firing(by=cosmo, at=NOON, firing=opened, result="reached")
        assert caught.value.code == "ware_not_unloaded"
        assert opened.bookings.get().slip in caught.value.message

    def test_the_load_counts_the_shelves_it_stood_on(self, cosmo, opened):
        """New shelves of another shape come while it is unloaded: pi 197^2 mm2 each stood in it."""
        halves = ShelvesWanted("half_round", 394, 16, count=8)
        set_shelves(by=cosmo, at=NOON, kiln=opened.kiln, shelves=halves)
        assert usable_area_mm2(opened) == opened.layers.count() * 121_922

    @pytest.mark.parametrize(
        ("end_wh", "code"), [(999_000, "meter_runs_backwards"), (9_000_000, "energy_absurd")]
    )
    def test_a_meter_that_cannot_be(self, cosmo, opened, end_wh, code):
        shelve(cosmo, opened)
        with pytest.raises(WareRefusal) as caught:
            close_firing(by=cosmo, at=NOON, firing=opened, result="reached", register_end_wh=end_wh)
        assert caught.value.code == code
        opened.refresh_from_db()
        assert opened.state == FiringState.OPENED

    def test_if_a_listener_refuses_the_firing_stays_open(self, cosmo, opened, monkeypatch):
        shelve(cosmo, opened)

        def no_tariff(**_):
            raise WareRefusal("no_tariff", "There is no tariff.")

        firing_closed.connect(no_tariff, weak=False)
        with pytest.raises(WareRefusal, match="no tariff"):
            close_firing(
                by=cosmo, at=NOON, firing=opened, result="reached", register_end_wh=1_042_000
            )
        opened.refresh_from_db()
        assert opened.state == FiringState.OPENED


class TestBreakingOff:
    def test_ware_waits_again_and_members_are_told(self, cosmo, ines):
        kiln = scene.kiln()
        booking = scene.booking(ines)
        firing = scene.started(cosmo, scene.loading(cosmo, kiln))
        firing = abort_firing(
            by=cosmo, at=NOON, firing=firing, reason="a relay stuck", is_kiln_fault=True
        )
        booking.refresh_from_db()
        kiln.refresh_from_db()
        assert (firing.state, booking.state) == (FiringState.ABORTED, BookingState.WAITING)
        assert booking.firing is None
        assert Notice.objects.get(kind="aborted").person == ines
        assert kiln.state == KilnState.OUT_OF_SERVICE

    def test_a_kiln_left_hot_is_not_loaded_before_it_was_measured_cold(self, cosmo, ines):
        kiln = scene.kiln()
        scene.booking(ines)
        firing = scene.started(cosmo, scene.loading(cosmo, kiln))
        at = NOON + timedelta(hours=6)

        def measure(temp_c, at):
            reading = [Moment(at=at, temp_c=temp_c)]
            add_firing_readings(by=cosmo, at=at, firing=firing, readings=reading, source="hand")

        measure(810, at)
        abort_firing(by=cosmo, at=at, firing=firing, reason="a relay stuck")
        following = scene.planned(cosmo, kiln, at=at)
        with pytest.raises(WareRefusal, match=r"810\.0\s°C") as caught:
            begin_loading(by=cosmo, at=at, firing=following)
        assert caught.value.code == "kiln_is_hot"
        measure(48, at + timedelta(hours=16))
        begun = begin_loading(by=cosmo, at=at + timedelta(hours=16), firing=following)
        assert begun.state == FiringState.LOADING

    def test_like_firings_say_nothing_of_one_that_was_broken_off(self, cosmo, ines):
        """Ten minutes of heat are not the 40 kWh of a whole firing: what is not known, is not."""
        kiln = scene.kiln()
        for _ in range(3):
            Firing.objects.create(
                kiln=kiln, stage="bisque", cone="04", state="closed", planned_for=NOON,
                started_at=NOON, energy_wh=40_000, energy_source="meter_register",
            )  # fmt: skip
        scene.booking(ines)
        firing = scene.started(cosmo, scene.loading(cosmo, kiln))
        soon = NOON + timedelta(minutes=10)
        firing = abort_firing(by=cosmo, at=soon, firing=firing, reason="a relay stuck")
        assert (firing.energy_wh, firing.energy_source) == (None, "")

    def test_not_without_a_reason_nor_before_the_start(self, cosmo, ines):
        kiln = scene.kiln()
        scene.booking(ines)
        loading = scene.loading(cosmo, kiln)
        with pytest.raises(WareRefusal, match="why"):
            abort_firing(by=cosmo, at=NOON, firing=loading, reason="")
        with pytest.raises(WareRefusal, match="must be"):
            abort_firing(by=cosmo, at=NOON, firing=loading, reason="lid")


def cone_seen(cone: str) -> ConeSeen:
    return ConeSeen(layer=1, cone=cone, bend=Decimal("0.95"))


class TestFirstFiring:
    def test_a_new_kiln_takes_ware_only_after_its_empty_firing_with_a_witness_cone(self, cosmo):
        chief = scene.manager()
        kiln = add_kiln(by=chief, at=NOON, shelves=scene.ROUND_SHELVES, fields=scene.FIRST_KILN)
        first = scene.planned(cosmo, kiln, is_empty_first_firing=True)
        firing = scene.started(cosmo, begin_loading(by=cosmo, at=NOON, firing=first))
        firing, ended_at = scene.cooled(cosmo, firing)
        firing = scene.opened(cosmo, firing, at=ended_at)
        close = {"by": cosmo, "at": ended_at, "result": "reached", "register_end_wh": 1_020_000}
        with pytest.raises(WareRefusal, match="witness cone"):
            close_firing(firing=firing, **close)
        record_witness_cones(by=cosmo, at=ended_at, firing=firing, cones=[cone_seen("06")])
        with pytest.raises(WareRefusal, match="witness cone 04"):
            close_firing(firing=firing, **close)
        record_witness_cones(by=cosmo, at=ended_at, firing=firing, cones=[cone_seen("04")])
        close_firing(firing=firing, **close)
        kiln.refresh_from_db()
        assert kiln.state == KilnState.IN_SERVICE
        assert not kiln.care_tasks.filter(done_at=None).exists()


def test_only_crew_open_kilns(ines, cosmo):
    kiln = scene.kiln()
    scene.booking(ines)
    firing, _ = scene.cooled(cosmo, scene.started(cosmo, scene.loading(cosmo, kiln)))
    with pytest.raises(Denied):
        open_firing(by=ines, at=NOON, firing=firing, temp_c=40)
