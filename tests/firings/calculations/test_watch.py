"""The watch: what it must see, and what it must leave alone. Room and box at the limits of a kiln
room guide: control faults above 100 F, a board that cuts out at 160 F. How often it is right on
simulated kilns is measured in tests/benchmarks/watch.py; thresholds: common practice, no source.
"""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta

import pytest

from firings.calculations.readings import Reading
from firings.calculations.watch import note_post, silent_for_s, watch_readings
from firings.calculations.watch_limits import Limits
from firings.calculations.watch_plan import plan_of
from firings.calculations.watch_state import WatchState
from firings.calculations.watch_words import CAN_BE, sentence_of
from firings.models import AlarmKind, WatchLimits

START = datetime(2026, 2, 3, 7, tzinfo=UTC)
ROOM_C, BOX_C = (100 - 32) / 1.8, (160 - 32) / 1.8
SCHEDULE = [
    {"rate_c_per_h": 100, "target_c": 600, "hold_minutes": 30},
    {"rate_c_per_h": 150, "target_c": 960, "hold_minutes": 0},
    {"rate_c_per_h": 60, "target_c": 1060, "hold_minutes": 10},
]


def plan(schedule=SCHEDULE, past=()):
    return plan_of(schedule, "04", "10", 8000, past)


def line(first_min, last_min, first_c, last_c, *, step_min=2, **more):
    """Readings along a straight line; a value may be a function of the temperature."""
    steps = round((last_min - first_min) / step_min)
    for n in range(steps + 1):
        minute = first_min + (last_min - first_min) * n / steps
        temp_c = first_c + (last_c - first_c) * n / steps
        extra = {name: one(temp_c) if callable(one) else one for name, one in more.items()}
        yield Reading(START + timedelta(minutes=minute), round(temp_c, 2), **extra)


def fresh_state():
    return WatchState(started_s=START.timestamp(), ramp_since_s=START.timestamp())


def watched(*parts, goes_by=None, is_firing=True, limits=None):
    """(kind, is_over, minute) of everything the watch says to these readings."""
    state = fresh_state()
    readings = sorted({r.at: r for part in parts for r in part}.values(), key=lambda r: r.at)
    events = watch_readings(
        state, readings, goes_by or plan(), limits or Limits(), is_firing=is_firing
    )
    return [(e.kind, e.is_over, (e.at - START).total_seconds() / 60) for e in events]


def kinds(events):
    return [kind for kind, is_over, _ in events if not is_over]


UP = (0, 300, 20, 520)  # 100 C an hour, as the schedule has it


def test_a_sound_firing_is_left_alone():
    firing = (
        line(0, 348, 20, 600),
        line(350, 378, 600, 600),
        line(380, 524, 600, 960),
        line(526, 626, 960, 1060),
        line(628, 638, 1060, 1060),
        line(640, 700, 1060, 860),
    )
    assert watched(*firing) == []


@pytest.mark.parametrize("duty", [None, 1.0])
def test_a_ramp_that_stalls_is_seen(duty):
    events = watched(line(*UP, duty=duty), line(302, 420, 520, 530, duty=duty))
    assert kinds(events) == ["stalled"]
    assert 320 <= events[0][2] <= 380


def test_a_programmes_hold_is_no_stall():
    """The schedule knows of the hold; or the set point does; or the duty says it could do more."""
    held = line(350, 390, 600, 600)
    assert watched(line(0, 348, 20, 600), held) == []
    by_set_point = (
        line(*UP, set_point_c=lambda c: c + 2),
        line(302, 480, 520, 520, set_point_c=521),
    )
    assert watched(*by_set_point, goes_by=plan([])) == []
    idle = (line(*UP, duty=0.6), line(302, 480, 520, 520, duty=0.3))
    assert watched(*idle, goes_by=plan([])) == []


def test_an_element_that_broke_shows_in_its_power():
    ramp = line(*UP, duty=0.8, power_w=0.8 * 8000)
    after = line(302, 330, 520, 560, duty=0.9, power_w=0.9 * 8000 * 2 / 3)
    assert kinds(watched(ramp, after)) == ["low_power"]


def test_a_relay_that_stays_open_is_named_by_its_power():
    ramp = line(*UP, duty=0.8, power_w=6400)
    after = line(302, 330, 518, 480, duty=1.0, power_w=0)
    assert kinds(watched(ramp, after))[0] in ("stuck_off", "falling")
    assert "stalled" not in kinds(watched(line(*UP), line(302, 330, 518, 480)))


def test_a_fall_is_told_once_and_over_when_it_rises_again():
    events = watched(
        line(*UP), line(302, 330, 515, 400), line(332, 400, 405, 520), line(402, 440, 523, 590)
    )
    assert [(kind, is_over) for kind, is_over, _ in events] == [
        ("falling", False),
        ("falling", True),
    ]
    assert events[0][2] < 312


def test_a_second_fall_is_a_new_episode():
    events = watched(
        line(*UP),
        line(302, 320, 515, 430),
        line(322, 400, 440, 560),
        line(402, 420, 555, 470),
    )
    assert kinds(events) == ["falling", "falling"]


@pytest.mark.parametrize(
    "cut",
    [
        {"duty": 0.0, "power_w": 0.0, "set_point_c": 522},
        {"set_point_c": None},
        {"duty": 0.0, "set_point_c": 522},
    ],
)
def test_a_power_cut_is_named_by_what_goes_out(cut):
    lit = {"set_point_c": lambda c: c + 1, "duty": 0.7, "power_w": 5600}
    ramp = line(*UP, **{name: lit[name] for name in cut})
    assert kinds(watched(ramp, line(302, 330, 515, 400, **cut))) == ["power_lost"]


def test_a_logger_that_comes_back_to_a_cooler_kiln_tells_of_a_cut():
    events = watched(line(*UP), line(345, 347, 430, 432), line(349, 400, 434, 530))
    assert [(kind, is_over) for kind, is_over, _ in events] == [
        ("power_lost", False),
        ("power_lost", True),
    ]


def test_a_fall_from_the_top_is_the_end_and_no_alarm():
    up = (line(0, 348, 20, 600), line(350, 378, 600, 600), line(380, 524, 600, 960))
    assert watched(*up, line(526, 622, 960, 1055), line(624, 700, 1050, 800)) == []


def test_a_programmed_fall_on_the_way_up_is_none():
    drying = [
        {"rate_c_per_h": 100, "target_c": 300},
        {"rate_c_per_h": 60, "target_c": 200, "hold_minutes": 10},
        *SCHEDULE,
    ]
    down = (line(0, 168, 20, 300), line(190, 280, 298, 210))
    assert watched(*down, goes_by=plan(drying)) == []


def test_it_stays_below_its_set_point():
    events = watched(
        line(*UP, set_point_c=lambda c: c + 2),
        line(302, 380, 522, 675, set_point_c=lambda c: 524 + 1.42 * (c - 522)),
    )
    assert kinds(events) == ["off_set_point"]


@pytest.mark.parametrize("more", [{"set_point_c": 525}, {"set_point_c": 525, "duty": 0.0}])
def test_a_relay_that_stays_closed_runs_past_its_set_point(more):
    before = {"set_point_c": lambda c: c, "duty": 0.5}
    ramp = line(*UP, **{name: before[name] for name in more})
    found = kinds(watched(ramp, line(302, 330, 526, 640, **more)))
    assert found[0] in ("stuck_on", "overshoot")


def test_power_that_nothing_asks_for_is_seen_while_it_cools():
    cooling = line(0, 60, 1000, 900, duty=0.0, power_w=2600)
    assert kinds(watched(cooling, is_firing=False)) == ["stuck_on"]


def test_a_kiln_that_rises_after_its_programme_is_over_is_heated():
    events = watched(
        line(0, 60, 700, 800, set_point_c=lambda c: c),
        line(62, 132, 800, 818),
        goes_by=plan([{"rate_c_per_h": 100, "target_c": 800, "hold_minutes": 0}]),
    )
    assert kinds(events)[0] == "stuck_on"


def test_it_climbs_past_its_top():
    up = (line(0, 348, 20, 600), line(350, 378, 600, 600), line(380, 524, 600, 960))
    assert kinds(watched(*up, line(526, 700, 960, 1090))) == ["overshoot"]


def test_a_jump_and_zones_apart_cannot_be_right():
    jumped = watched(line(*UP), line(302, 330, 1372, 1372))
    assert "sensor" in kinds(jumped)
    apart = watched(line(*UP, zone2_c=lambda c: c - 5), line(302, 330, 522, 570, zone2_c=440))
    assert kinds(apart) == ["sensor"]


def test_a_frozen_value_in_a_ramp_is_seen():
    assert "sensor" in kinds(watched(line(*UP), line(302, 340, 520, 520)))


def test_longer_than_its_own_past_is_told_with_what_the_past_was():
    """Six like firings reached 500 C after 4.8 h, give or take; this one takes twice as long."""
    past = [{c: c / 100 * 3456 * pace for c in range(200, 1001, 100)} for pace in
            (0.97, 0.98, 1, 1, 1.02, 1.03)]  # fmt: skip
    slow = line(0, 640, 20, 480, duty=0.5)
    assert kinds(watched(slow, goes_by=plan([], past))) == ["late"]
    assert watched(line(0, 330, 20, 560, duty=0.5), goes_by=plan([], past)) == []


def test_one_odd_firing_moves_neither_median_nor_spread():
    """Robust statistics (Rousseeuw and Croux, 1993): one of seven took three times as long."""
    sound = [{500: 18_000.0 + 60 * n} for n in range(6)]
    with_odd = plan([], [*sound, {500: 54_000.0}]).pace[0]
    assert abs(with_odd.reached_s - 18_180) < 1
    assert with_odd.spread_s < 300


def test_a_short_past_says_nothing():
    assert plan([], [{500: 18_000.0}, {500: 18_100.0}]).pace == ()


@pytest.mark.parametrize(
    ("room_c", "control_box_c", "found"),
    [
        (None, None, []),
        (ROOM_C, BOX_C - 1, []),
        (ROOM_C + 1, BOX_C, ["room", "control_box"]),
        (None, BOX_C + 1, ["control_box"]),
    ],
)
def test_a_room_above_and_a_box_at_its_limit_are_too_hot(room_c, control_box_c, found):
    limits = Limits(room_limit_c=ROOM_C, control_box_limit_c=BOX_C)
    reading = Reading(START, 900.0, room_c=room_c, control_box_c=control_box_c)
    assert kinds(watched([reading], is_firing=False, limits=limits)) == found


def test_batches_say_what_the_whole_log_says_through_json():
    readings = [*line(*UP), *line(302, 330, 515, 400), *line(332, 400, 405, 520)]
    whole, by_batch = watched(readings), []
    values = fresh_state().to_json()
    for n in range(0, len(readings), 7):
        state = WatchState.from_json(json.loads(json.dumps(values)))
        events = watch_readings(state, readings[n : n + 7], plan(), Limits(), is_firing=True)
        by_batch += [(e.kind, e.is_over, (e.at - START).total_seconds() / 60) for e in events]
        values = state.to_json()
    assert by_batch == whole != []


def test_its_memory_does_not_grow_with_the_log():
    state = fresh_state()
    sizes = []
    for hour in range(40):
        first = 60 * hour
        part = line(first, first + 59, 20 + 20 * hour, 39 + 20 * hour, step_min=0.5)
        watch_readings(state, list(part), plan([]), Limits(), is_firing=True)
        sizes.append(len(json.dumps(state.to_json())))
    assert max(sizes[20:]) < 1.3 * sizes[5]


def test_readings_seen_already_say_nothing_new():
    state, fall = fresh_state(), [*line(*UP), *line(302, 330, 515, 400)]
    first = watch_readings(state, fall, plan(), Limits(), is_firing=True)
    assert (len(first), watch_readings(state, fall, plan(), Limits(), is_firing=True)) == (1, [])


def test_a_reading_without_a_zone_is_refused():
    with pytest.raises(ValueError, match="time zone"):
        watch_readings(
            fresh_state(),
            [Reading(START.replace(tzinfo=None), 20)],
            plan(),
            Limits(),
            is_firing=True,
        )


class TestSilence:
    @pytest.fixture
    def state(self):
        state = fresh_state()
        watch_readings(state, list(line(0, 60, 20, 120, step_min=1)), plan([]), Limits(),
                       is_firing=True)  # fmt: skip
        return state

    def after(self, state, minutes):
        return silent_for_s(state, START.timestamp() + 60 * minutes, Limits())

    def test_a_logger_that_sends_each_minute_is_gone_after_the_limit(self, state):
        for minute in range(61):
            note_post(state, START.timestamp() + 60 * minute)
        assert self.after(state, 79) is None
        assert self.after(state, 81) == 21 * 60

    def test_one_that_sends_once_an_hour_is_not(self, state):
        for hour in range(4):
            note_post(state, START.timestamp() + 3600 * hour)
        assert self.after(state, 180 + 70) is None
        assert self.after(state, 180 + 200) is not None

    def test_before_the_first_an_hour_passes(self):
        assert self.after(fresh_state(), 59) is None
        assert self.after(fresh_state(), 61) == 61 * 60


def test_after_a_person_says_it_goes_on_it_is_judged_anew():
    state = fresh_state()
    watch_readings(state, list(line(*UP)), plan(), Limits(), is_firing=True)
    state.go_on(400.0)
    again = [*line(302, 360, 402, 500)]
    assert watch_readings(state, again, plan(), Limits(), is_firing=True) == []


def test_every_kind_has_its_words():
    assert set(AlarmKind.values) == set(CAN_BE)
    with pytest.raises(ValueError, match="no kind of alarm"):
        sentence_of("smoke", {}, str, str)
    everything = " ".join([*AlarmKind.labels, *CAN_BE.values()])
    assert " safe" not in everything


def test_the_records_defaults_are_the_calculations():
    stored = {field.name: field.default for field in WatchLimits._meta.get_fields()
              if field.name in vars(Limits())}  # fmt: skip
    for name, value in vars(Limits()).items():
        assert stored[name] == value or (stored[name] is None or name.endswith("_limit_c"))


@pytest.mark.parametrize("cone", ["04", "6", "10", "05.5", "022"])
def test_without_a_schedule_the_top_is_the_cones(cone):
    found = plan_of([], cone, "10", 8000)
    assert not found.is_top_known
    assert found.top_c > 500


def test_a_schedule_without_a_rate_is_refused():
    with pytest.raises(ValueError, match="above 0"):
        plan_of([{"rate_c_per_h": 0, "target_c": 600}], "04", "10", 8000)
