"""What the kilns' loggers, and people with a pyrometer, read: from the thermal model.

The model is firings.calculations.kiln_simulation; noise and offset of the thermocouple, the
room and the controller's box are added here. Temperatures in C.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import lru_cache

from billing.demo.kilns import PLATES, KilnPlate
from billing.demo.scene import ZONE
from firings.calculations.cones import cone_equivalent_c
from firings.calculations.firing_summary import summarise
from firings.calculations.kiln_simulation import KilnSample, Segment, simulate_firing
from firings.calculations.log_heat import log_heat_c
from firings.calculations.readings import Reading

ROOM_C = 21.0
UNTIL_C = 44.0
LAST_RATE_C_PER_H = 60.0
# By how much a kiln at 1200 C warms its room, as a rule and on a hot day with the door shut.
FIRING_WARMS_C = 9.0
HOT_DAY_WARMS_C = 25.0
BROKEN_OFF_AT_C = 760.0
BY_NAME = {plate.name: plate for plate in PLATES}
Segments = tuple[Segment, ...]


@dataclass(frozen=True)
class KilnLog:
    """A whole firing: what the kiln did (`samples`), and what of it is read (`readings`).

    `ended_at` is when the programme is over.
    """

    started_at: datetime
    ended_at: datetime
    samples: tuple[KilnSample, ...]
    readings: tuple[Reading, ...]

    @property
    def energy_wh(self) -> int:
        return round(self.samples[-1].register_wh)

    def at(self, sample: KilnSample) -> datetime:
        return self.started_at + timedelta(minutes=sample.minute)

    @property
    def true_heat_c(self) -> float:
        """The heat work it truly did, at 60 C an hour, whatever the thermocouple said."""
        true = [Reading(self.at(sample), sample.temp_c) for sample in self.samples]
        summary = summarise(true)
        heat_c = log_heat_c(summary.heat, summary.peak_c)
        return heat_c or max(sample.temp_c for sample in self.samples)

    def temp_c(self, at: datetime) -> float:
        """What a pyrometer shows at a moment."""
        until = [sample for sample in self.samples if self.at(sample) <= at]
        return ([self.samples[0], *until])[-1].temp_c

    def falls_to(self, limit_c: float) -> datetime:
        """When the kiln has been at or below a limit for a quarter of an hour and more."""
        cool = next(
            sample
            for sample in self.samples
            if sample.temp_c <= limit_c and self.at(sample) > self.ended_at
        )
        return self.at(cool) + timedelta(minutes=30)


def schedule_for(stage: str, cone: str, short_c: float = 0.0) -> Segments:
    """Slow while water leaves, then faster, and 60 C an hour over the last 100 C.

    `short_c` is how far the programme stays below the cone's published temperature.
    """
    peak_c = cone_equivalent_c(cone, LAST_RATE_C_PER_H) - short_c
    ramps: Segments
    if stage == "bisque":
        ramps = (Segment(70, 110, 45), Segment(120, 600), Segment(160, peak_c - 100))
        return (*ramps, Segment(LAST_RATE_C_PER_H, peak_c, 5))
    # As fast as most kilns here can: near full power on the way up, which tells of their elements.
    ramps = (Segment(120, 250), Segment(300, peak_c - 100))
    return (*ramps, Segment(LAST_RATE_C_PER_H, peak_c, 12))


def cut_short(schedule: Segments, at_c: float = BROKEN_OFF_AT_C) -> Segments:
    """The same programme in a kiln that fails on its way up."""
    below = [segment for segment in schedule if segment.target_c < at_c]
    return (*below, Segment(schedule[len(below)].rate_c_per_h, at_c))


def schedule_json(schedule: Segments) -> list[dict[str, float]]:
    return [
        {
            "rate_c_per_h": segment.rate_c_per_h,
            "target_c": round(segment.target_c),
            "hold_minutes": segment.hold_minutes,
        }
        for segment in schedule
    ]


@lru_cache(maxsize=128)
def _samples(
    kiln: str, schedule: Segments, load_kg: int, power_percent: int
) -> tuple[KilnSample, ...]:
    plate = BY_NAME[kiln]
    power_w = plate.body.rated_power_w * power_percent / 100
    return tuple(
        simulate_firing(
            replace(plate.body, rated_power_w=power_w),
            schedule,
            load_kg=load_kg,
            room_c=ROOM_C,
            step_s=120.0,
            sample_minutes=plate.sample_minutes,
            until_c=UNTIL_C,
        )
    )


def kiln_log(
    plate: KilnPlate,
    schedule: Segments,
    *,
    started_at: datetime,
    load_kg: float,
    dice: random.Random,
    is_hot_room: bool = False,
    power_percent: int = 100,
) -> KilnLog:
    """The log of one firing. Loads of about the same weight share one run of the model.

    `power_percent` is what aged elements still give of the rated power.
    """
    samples = _samples(plate.name, schedule, 4 * max(1, round(load_kg / 4)), power_percent)
    warms_room_c = HOT_DAY_WARMS_C if is_hot_room else FIRING_WARMS_C
    full_power_w = plate.body.rated_power_w * power_percent / 100
    last = [sample for sample in samples if sample.set_point_c is not None][-1]
    readings = tuple(
        _reading(plate, sample, started_at, dice, warms_room_c, full_power_w)
        for sample in samples
        if plate.logged != "by hand" or sample == last or _is_read_by_hand(sample, started_at)
    )
    return KilnLog(started_at, started_at + timedelta(minutes=last.minute), samples, readings)


def _is_read_by_hand(sample: KilnSample, started_at: datetime) -> bool:
    """Somebody looks about every hour and a half by day."""
    hour = (started_at + timedelta(minutes=sample.minute)).astimezone(ZONE).hour
    return sample.minute % 90 == 0 and 8 <= hour < 22


def _reading(
    plate: KilnPlate,
    sample: KilnSample,
    started_at: datetime,
    dice: random.Random,
    warms_room_c: float,
    full_power_w: float,
) -> Reading:
    at = started_at + timedelta(minutes=sample.minute)
    temp_c = round(sample.temp_c + plate.offset_c * sample.temp_c / 1200 + dice.gauss(0, 0.7), 1)
    set_point_c = sample.set_point_c
    if plate.logged == "by hand":
        return Reading(at=at, temp_c=round(temp_c))
    if plate.logged == "duty":
        return Reading(
            at=at,
            temp_c=temp_c,
            set_point_c=set_point_c,
            duty=min(1.0, round(sample.power_w / full_power_w, 3)),
            room_c=round(ROOM_C + warms_room_c * sample.temp_c / 1200 + dice.gauss(0, 0.2), 1),
            control_box_c=round(ROOM_C + 24 * sample.temp_c / 1200 + dice.gauss(0, 0.3), 1),
        )
    return Reading(
        at=at,
        temp_c=temp_c,
        zone2_c=round(temp_c - 0.004 * sample.temp_c + dice.gauss(0, 0.7), 1),
        zone3_c=round(temp_c + 0.003 * sample.temp_c + dice.gauss(0, 0.7), 1),
        set_point_c=set_point_c,
        power_w=sample.power_w,
    )
