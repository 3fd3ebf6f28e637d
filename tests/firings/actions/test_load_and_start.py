"""A load is made from the queue, checked, and started by a person."""

from dataclasses import replace
from datetime import timedelta

import pytest

from firings.actions.bookings import correct_piece
from firings.actions.kilns import set_shelves
from firings.actions.load import fill_load, put_in_load, take_out_of_load
from firings.actions.plan_firing import (
    announce_firing,
    begin_loading,
    cancel_firing,
    plan_firing,
)
from firings.actions.start import start_check, start_firing
from firings.models import BookingState, CareKind, CareTask, Firing, FiringState, Kiln, KilnState
from firings.refusals import WareRefusal
from studio.actions.trail import trail_of
from studio.models import Notice, TrailEntry
from studio.refusals import Denied
from tests import scene
from tests.scene import NOON

pytestmark = pytest.mark.django_db


@pytest.fixture
def cosmo():
    return scene.crew()


@pytest.fixture
def kiln():
    return scene.kiln()


@pytest.fixture
def ines(kiln):
    return scene.person("Ines")


def refusal_of(deed, **wanted) -> WareRefusal:
    with pytest.raises(WareRefusal) as caught:
        deed(at=NOON, **wanted)
    return caught.value


class TestPlanning:
    def test_in_the_past_or_far_away(self, cosmo, kiln):
        wanted = {"by": cosmo, "kiln": kiln, "stage": "bisque", "cone": "04"}
        past = refusal_of(plan_firing, planned_for=NOON - timedelta(days=2), **wanted)
        far = refusal_of(plan_firing, planned_for=NOON + timedelta(days=800), **wanted)
        assert (past.code, far.code) == ("planned_in_the_past", "planned_too_far")

    def test_above_the_kilns_limit(self, cosmo, kiln):
        kiln.cone_limit = "6"
        kiln.save()
        refusal = refusal_of(
            plan_firing, by=cosmo, kiln=kiln, stage="glaze", cone="10", planned_for=NOON
        )
        assert refusal.code == "above_cone_limit"

    def test_members_plan_nothing(self, ines, kiln):
        with pytest.raises(Denied):
            scene.planned(ines, kiln)

    def test_one_kiln_is_loaded_for_one_firing_at_a_time(self, cosmo, kiln, ines):
        scene.booking(ines)
        scene.loading(cosmo, kiln)
        second = scene.planned(cosmo, kiln)
        assert refusal_of(begin_loading, by=cosmo, firing=second).code == "kiln_is_taken"

    def test_a_kiln_is_emptied_before_it_is_loaded_again(self, cosmo, kiln, ines):
        booking = scene.booking(ines)
        firing, ended_at = scene.cooled(cosmo, scene.started(cosmo, scene.loading(cosmo, kiln)))
        firing = scene.opened(cosmo, firing, at=ended_at)
        following = scene.planned(cosmo, kiln, at=ended_at)
        refusal = refusal_of(begin_loading, by=cosmo, firing=following)
        assert (refusal.code, refusal.facts["slips"]) == ("kiln_not_emptied", [booking.slip])
        scene.unloaded(cosmo, firing, at=ended_at)
        assert begin_loading(by=cosmo, at=ended_at, firing=following).state == FiringState.LOADING

    def test_a_kiln_out_of_service_or_before_its_first_firing_is_not_loaded(self, cosmo, kiln):
        for state, code in (
            (KilnState.OUT_OF_SERVICE, "kiln_out_of_service"),
            (KilnState.FIRST_FIRING_DUE, "first_firing_due"),
        ):
            kiln.state = state
            kiln.save()
            firing = scene.planned(cosmo, kiln)
            assert refusal_of(begin_loading, by=cosmo, firing=firing).code == code

    def test_cancelling_sends_ware_back_and_tells_why(self, cosmo, kiln, ines):
        booking = scene.booking(ines)
        firing = scene.loading(cosmo, kiln)
        cancel_firing(by=cosmo, at=NOON, firing=firing, reason="power cut announced")
        booking.refresh_from_db()
        assert (booking.state, booking.firing) == (BookingState.WAITING, None)
        assert Notice.objects.get(kind="cancelled").facts["reason"] == "power cut announced"
        assert (
            refusal_of(cancel_firing, by=cosmo, firing=firing, reason="again").code == "wrong_state"
        )


class TestLoading:
    def test_the_load_is_filled_first_come_first_served(self, cosmo, kiln, ines):
        full = {"shelf_fraction": "full", "shelf_height_mm": 90}
        bookings = [scene.booking(ines, **full) for _ in range(6)]
        firing = begin_loading(by=cosmo, at=NOON, firing=scene.planned(cosmo, kiln))
        proposal = fill_load(by=cosmo, at=NOON, firing=firing)
        assert proposal.placed == bookings[:4]
        assert set(proposal.left_out) == set(bookings[4:])
        # Ware goes first that came first. A missing cone pack blocks nothing: it is told where the
        # load is made, and the start asks for a reason when witness cones are overdue.
        assert proposal.warnings == (
            "There is no room for 1 cone pack: take something out, or fire without and say why.",
        )
        assert firing.layers.count() == 4
        assert not firing.layers.filter(cone_pack__isnull=False).exists()
        assert firing.load_search.warnings == list(proposal.warnings)

    def test_a_slip_goes_in_whole_or_not_at_all(self, cosmo, kiln, ines):
        scene.booking(ines, shelf_fraction="full", shelf_height_mm=100)
        scene.booking(ines, shelf_fraction="full", shelf_height_mm=100)
        scene.booking(ines, shelf_fraction="full", shelf_height_mm=100)
        many = scene.booking(ines, pieces=[replace(scene.MUG, count=40)])
        firing = begin_loading(by=cosmo, at=NOON, firing=scene.planned(cosmo, kiln))
        proposal = fill_load(by=cosmo, at=NOON, firing=firing)
        assert many in proposal.left_out
        many.refresh_from_db()
        assert many.state == BookingState.WAITING

    def test_ware_too_big_for_this_kiln_makes_way_for_what_was_booked_after_it(
        self, cosmo, kiln, ines
    ):
        scene.kiln(name="Albatross", chamber_across_mm=700, chamber_height_mm=900)
        wide = Kiln.objects.get(name="Albatross")
        set_shelves(
            by=cosmo, at=NOON, kiln=wide, shelves=replace(scene.ROUND_SHELVES, across_mm=600)
        )
        platter = replace(scene.MUG, name="Platter", across_mm=500, height_mm=60)
        too_wide = [scene.booking(ines, pieces=[platter]) for _ in range(4)]
        mugs = scene.booking(ines)
        firing = begin_loading(by=cosmo, at=NOON, firing=scene.planned(cosmo, kiln))
        proposal = fill_load(by=cosmo, at=NOON, firing=firing)
        assert proposal.placed == [mugs]
        assert set(proposal.left_out) == set(too_wide)

    def test_wet_ware_is_not_taken_from_the_queue(self, cosmo, kiln, ines):
        wet = scene.booking(ines, dry_on=(NOON + timedelta(days=4)).date())
        firing = begin_loading(by=cosmo, at=NOON, firing=scene.planned(cosmo, kiln))
        assert fill_load(by=cosmo, at=NOON, firing=firing).placed == []
        refusal = refusal_of(put_in_load, by=cosmo, firing=firing, booking=wet)
        assert refusal.code == "not_dry_yet"
        assert wet.slip in refusal.message

    def test_wrong_cone_is_refused_again_at_loading(self, cosmo, kiln, ines):
        glaze_ware = scene.booking(ines, stage="glaze")
        firing = begin_loading(by=cosmo, at=NOON, firing=scene.planned(cosmo, kiln))
        refusal = refusal_of(put_in_load, by=cosmo, firing=firing, booking=glaze_ware)
        assert refusal.code == "wrong_load"

    def test_a_clay_whose_range_was_corrected_is_caught_and_named(self, cosmo, kiln, ines):
        booking = scene.booking(ines, stage="glaze")
        low_fire = scene.clay()
        low_fire.cone_low, low_fire.cone_high = "06", "04"
        low_fire.save()
        firing = scene.planned(cosmo, kiln, stage="glaze", cone="6")
        refusal = refusal_of(put_in_load, by=cosmo, firing=firing, booking=booking)
        assert refusal.code == "cone_outside_range"
        assert booking.slip in refusal.message

    def test_what_does_not_fit_any_more_is_refused(self, cosmo, kiln, ines):
        full = {"shelf_fraction": "full", "shelf_height_mm": 90}
        for _ in range(4):
            scene.booking(ines, **full)
        firing = scene.loading(cosmo, kiln)
        late = scene.booking(ines, **full)
        assert refusal_of(put_in_load, by=cosmo, firing=firing, booking=late).code == "no_room"

    def test_what_may_no_longer_enter_goes_back_to_the_queue_with_the_reason(
        self, cosmo, kiln, ines
    ):
        booking = scene.booking(ines)
        firing = scene.loading(cosmo, kiln)
        wrong = scene.clay()
        wrong.bisque_cone_low = wrong.bisque_cone_high = "010"
        wrong.save()
        proposal = fill_load(by=cosmo, at=NOON, firing=firing)
        booking.refresh_from_db()
        assert list(proposal.left_out) == [booking]
        assert (booking.state, booking.firing) == (BookingState.WAITING, None)
        assert "cone 010" in trail_of(booking).last().why

    def test_taken_out_ware_waits_again(self, cosmo, kiln, ines):
        booking = scene.booking(ines)
        firing = scene.loading(cosmo, kiln)
        take_out_of_load(by=cosmo, at=NOON, firing=firing, booking=booking)
        booking.refresh_from_db()
        assert (booking.state, booking.firing) == (BookingState.WAITING, None)

    def test_what_crew_measure_is_charged_and_told(self, cosmo, kiln, ines):
        booking = scene.booking(ines)
        scene.loading(cosmo, kiln)
        piece = booking.pieces.first()
        sizes = {"shape": "round", "across_mm": 100, "height_mm": 100}
        correct_piece(by=cosmo, at=NOON, piece=piece, **sizes)
        booking.refresh_from_db()
        # pi 50^2 for the one measured, pi 45^2 for the other three
        assert booking.charged_area_mm2 == 7854 + 3 * 6362
        assert booking.booked_area_mm2 == 4 * 6362
        assert Notice.objects.get(kind="measured").person == ines

    def test_promised_space_is_in_the_load_before_the_queue(self, cosmo, kiln, ines):
        full = {"shelf_fraction": "full", "shelf_height_mm": 90}
        queued = [scene.booking(ines, **full) for _ in range(4)]
        later = NOON + timedelta(days=1)
        firing = scene.planned(cosmo, kiln, planned_for=later)
        announce_firing(by=cosmo, at=NOON, firing=firing)
        promised = scene.booking(ines, firing=firing, **full)
        firing = begin_loading(by=cosmo, at=NOON, firing=firing)
        placed = fill_load(by=cosmo, at=NOON, firing=firing).placed
        assert promised in placed
        assert placed != queued


class TestStarting:
    def test_a_person_starts_it_and_is_recorded(self, cosmo, kiln, ines):
        booking = scene.booking(ines)
        firing = scene.started(cosmo, scene.loading(cosmo, kiln))
        booking.refresh_from_db()
        assert (firing.state, firing.started_by) == (FiringState.FIRING, cosmo)
        assert all(item["is_ticked"] for item in firing.start_check)
        assert booking.dryness_confirmed_by == cosmo
        assert Notice.objects.get(kind="loaded").facts["slips"] == [booking.slip]

    def test_an_unticked_line_stops_the_start(self, cosmo, kiln, ines):
        scene.booking(ines)
        firing = scene.loading(cosmo, kiln)
        refusal = refusal_of(start_firing, by=cosmo, firing=firing, ticked=["clear"])
        assert refusal.code == "check_not_complete"
        assert "dry" in refusal.facts["missing"]

    def test_an_empty_load_is_not_started(self, cosmo, kiln):
        firing = scene.loading(cosmo, kiln)
        refusal = refusal_of(start_firing, by=cosmo, firing=firing, ticked=[])
        assert refusal.code == "load_is_empty"

    def test_overdue_care_may_be_overridden_with_a_reason_on_record(self, cosmo, kiln, ines):
        scene.booking(ines)
        firing = scene.loading(cosmo, kiln)
        task = CareTask.objects.create(kiln=kiln, kind=CareKind.VACUUM, due_since=NOON)
        ticks = [item.code for item in start_check(firing) if not item.is_overdue]
        refusal = refusal_of(start_firing, by=cosmo, firing=firing, ticked=ticks)
        assert refusal.code == "override_reason_missing"
        start_firing(
            by=cosmo, at=NOON, firing=firing, ticked=ticks, override_reason="vacuum is broken"
        )
        overridden = TrailEntry.objects.get(deed="overdue check overridden")
        assert (overridden.by, overridden.details["items"]) == (cosmo, [f"care:{task.pk}"])

    def test_ticking_a_care_task_finishes_it(self, cosmo, kiln, ines):
        scene.booking(ines)
        firing = scene.loading(cosmo, kiln)
        task = CareTask.objects.create(kiln=kiln, kind=CareKind.VACUUM, due_since=NOON)
        scene.started(cosmo, firing)
        task.refresh_from_db()
        assert task.done_by == cosmo

    def test_witness_cones_become_overdue(self, cosmo, kiln, ines):
        for _ in range(kiln.witness_every_firings):
            Firing.objects.create(
                kiln=kiln, stage="bisque", cone="04", state="closed", planned_for=NOON,
                started_at=NOON,
            )  # fmt: skip
        scene.booking(ines)
        items = {item.code: item for item in start_check(scene.loading(cosmo, kiln))}
        assert items["witness"].is_overdue

    def test_vent_advice_follows_the_kilns_set_up(self, cosmo, kiln, ines):
        scene.booking(ines)
        firing = scene.loading(cosmo, kiln)
        without = {item.code: item.text for item in start_check(firing)}["vent"]
        firing.kiln.vent = "downdraft"
        with_vent = {item.code: item.text for item in start_check(firing)}["vent"]
        assert "peephole open" in without
        assert "plugged" in with_vent
