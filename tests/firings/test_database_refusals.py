"""What the database itself refuses of kilns and ware, whoever asks: the actions are gone around."""

from datetime import timedelta
from functools import partial

import pytest
from django.db import IntegrityError, transaction

from firings.models import (
    Booking,
    CoolingHabits,
    Firing,
    Layer,
    Piece,
    Placement,
    Reading,
    WatchLimits,
)
from tests import scene
from tests.scene import NOON

pytestmark = pytest.mark.django_db


@pytest.fixture
def kiln():
    return scene.kiln()


def refused(constraint: str, deed) -> None:
    with pytest.raises(IntegrityError) as caught, transaction.atomic():
        deed()
    assert constraint in str(caught.value) or "UNIQUE constraint" in str(caught.value)


def firing_row(kiln, state):
    return Firing.objects.create(
        kiln=kiln, stage="bisque", cone="04", state=state, planned_for=NOON, started_at=NOON
    )


def test_two_firings_on_one_kiln_at_once(kiln):
    firing_row(kiln, "firing")
    refused("one_active_firing_per_kiln", lambda: firing_row(kiln, "cooling"))
    firing_row(kiln, "closed")  # what is over does not count


def test_a_reading_twice_at_one_time(kiln):
    firing = firing_row(kiln, "firing")
    firing.readings.create(at=NOON, temp_c=20, source="hand")
    refused(
        "one_reading_per_moment", lambda: firing.readings.create(at=NOON, temp_c=21, source="file")
    )
    assert Reading.objects.count() == 1


def test_a_stretch_of_a_short_log_or_a_kept_summary_twice(kiln):
    firing = firing_row(kiln, "firing")
    firing.log_stretches.create(starts_at=NOON, points=[])
    refused(
        "one_stretch_of_a_log_per_moment",
        lambda: firing.log_stretches.create(starts_at=NOON, points=[]),
    )
    firing.kept_summaries.create(at=NOON, summary={})
    refused(
        "one_kept_summary_per_moment", lambda: firing.kept_summaries.create(at=NOON, summary={})
    )


@pytest.mark.parametrize("changed", [{"thermocouple_type": "X"}, {"thermocouple_class": "class 3"}])
def test_a_thermocouple_of_no_known_type_or_class(kiln, changed):
    refused(
        "thermocouple_is_of_a_known_type_and_class",
        lambda: type(kiln).objects.filter(pk=kiln.pk).update(**changed),
    )


class TestAlarms:
    @pytest.fixture
    def firing(self, kiln):
        return firing_row(kiln, "firing")

    def test_two_open_of_one_kind(self, firing):
        alarm = firing.alarms.create(kind="stalled", raised_at=NOON)
        deed = partial(firing.alarms.create, kind="stalled", raised_at=NOON)
        refused("one_open_alarm_per_kind", deed)
        alarm.cleared_at = NOON
        alarm.save()
        deed()  # a new episode

    @pytest.mark.parametrize(
        ("constraint", "fields"),
        [
            ("alarm_kind_is_known", {"kind": "smoke"}),
            ("acknowledged_alarm_names_the_person", {"acknowledged_at": NOON}),
            ("alarm_is_over_after_it_began", {"cleared_at": NOON - timedelta(hours=1)}),
        ],
    )
    def test_what_no_alarm_can_be(self, firing, constraint, fields):
        row = {"kind": "stalled", "raised_at": NOON, **fields}
        refused(constraint, lambda: firing.alarms.create(**row))

    def test_limits_that_would_cry_at_every_firing(self, kiln):
        refused(
            "watch_limits_leave_room_for_noise",
            lambda: WatchLimits.objects.create(kiln=kiln, stall_minutes=1),
        )


def test_a_piece_in_two_loads(kiln):
    booking = scene.booking(scene.person("Ines"))
    piece = booking.pieces.first()
    layers = [
        Layer.objects.create(
            firing=firing_row(kiln, "closed"), position=1, shelf_set=kiln.shelf_sets.get()
        )
        for _ in range(2)
    ]
    Placement.objects.create(layer=layers[0], piece=piece, x_mm=0, y_mm=0)
    refused("piece", lambda: Placement.objects.create(layer=layers[1], piece=piece, x_mm=0, y_mm=0))


def test_a_placed_booking_without_its_load():
    scene.kiln()
    booking = scene.booking(scene.person("Ines"))
    rows = Booking.objects.filter(pk=booking.pk)
    refused("placed_booking_has_its_firing", lambda: rows.update(state="placed"))
    refused("booking_state_is_known", lambda: rows.update(state="vanished"))


@pytest.mark.parametrize(
    ("sizes", "constraint"),
    [
        ({"height_mm": 0}, "piece_height_is_possible"),
        ({"across_mm": 0}, "piece_size_is_possible"),
        ({"across_mm": 9_000}, "piece_size_is_possible"),
        ({"shape": "rectangle", "depth_mm": None}, "piece_size_is_possible"),
    ],
)
def test_a_size_that_cannot_be(sizes, constraint):
    scene.kiln()
    piece = scene.booking(scene.person("Ines")).pieces.first()
    refused(constraint, lambda: Piece.objects.filter(pk=piece.pk).update(**sizes))


def test_a_meter_that_ran_backwards(kiln):
    firing = firing_row(kiln, "closed")
    rows = Firing.objects.filter(pk=firing.pk)
    refused(
        "meter_runs_forward",
        lambda: rows.update(register_start_wh=2_000, register_end_wh=1_000),
    )


def test_a_ready_booking_without_a_place(kiln):
    booking = scene.booking(scene.person("Ines"))
    rows = Booking.objects.filter(pk=booking.pk)
    refused(
        "ready_booking_has_its_place",
        lambda: rows.update(state="ready", firing=firing_row(kiln, "closed")),
    )


def test_a_started_firing_without_its_time(kiln):
    later = NOON + timedelta(days=1)
    refused(
        "started_firing_has_its_time",
        lambda: Firing.objects.create(
            kiln=kiln, stage="bisque", cone="04", state="firing", planned_for=later
        ),
    )


def test_cooling_habits_come_of_a_firing_and_a_kiln_has_them_once(kiln):
    refused(
        "habits_come_of_a_firing",
        lambda: CoolingHabits.objects.create(
            kiln=kiln, learned={}, firings_count=0, learned_at=NOON
        ),
    )
    CoolingHabits.objects.create(kiln=kiln, learned={}, firings_count=1, learned_at=NOON)
    refused(
        "firings_coolinghabits_kiln_id",
        lambda: CoolingHabits.objects.create(
            kiln=kiln, learned={}, firings_count=2, learned_at=NOON
        ),
    )


def test_two_holds_on_one_level_or_two_reasons_for_one_slip(kiln):
    firing, booking = firing_row(kiln, "closed"), scene.booking(scene.person("Ines"))
    firing.holds.create(position=1)
    refused("one_hold_per_level", lambda: firing.holds.create(position=1))
    firing.kept_out.create(booking=booking)
    refused("each_slip_is_kept_out_once", lambda: firing.kept_out.create(booking=booking))
    firing.stay_out.create(booking=booking, why="no_room")
    refused(
        "each_slip_stays_out_for_one_reason",
        lambda: firing.stay_out.create(booking=booking, why="too_big"),
    )


def test_a_piece_that_rides_on_another_without_saying_how(kiln):
    booking = scene.booking(scene.person("Ines"))
    cosmo = scene.crew()
    scene.loading(cosmo, kiln)
    carrier, rider = booking.pieces.order_by("pk")[:2]
    mine = Placement.objects.filter(piece=rider)
    refused("carried_piece_says_how_it_stands", lambda: mine.update(carried_by=carrier))
    refused("carried_piece_says_how_it_stands", lambda: mine.update(stands="nest"))


def test_promised_space_without_its_firing(kiln):
    booking = scene.booking(scene.person("Ines"))
    mine = Booking.objects.filter(pk=booking.pk)
    refused("promised_booking_has_its_firing", lambda: mine.update(is_promised=True))
