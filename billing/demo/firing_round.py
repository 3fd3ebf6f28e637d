"""One firing from the queue to the pick-up shelf, deed by deed, by whoever of the crew is there."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import partial

from billing.demo.kiln_logs import KilnLog, cut_short, kiln_log, schedule_for, schedule_json
from billing.demo.kilns import KilnPlate
from billing.demo.loading import fullest_queue, measure_again, turn_ware_away, weight_kg
from billing.demo.scene import Scene, day_of, opening_hour
from billing.demo.unloading import cones_seen, outcomes_of
from billing.demo.ware import PLACES
from firings.actions.alarms import acknowledge_alarm
from firings.actions.cool_down import begin_cooling
from firings.actions.end_firing import abort_firing, close_firing
from firings.actions.load import fill_load
from firings.actions.open_and_unload import open_firing, shelve_booking
from firings.actions.plan_firing import (
    FIRST_FIRING_CONE,
    announce_firing,
    begin_loading,
    cancel_firing,
    plan_firing,
)
from firings.actions.readings import add_firing_readings
from firings.actions.start import start_check, start_firing
from firings.calculations.cones import CONES
from firings.calculations.readings import Reading
from firings.models import (
    Booking,
    BookingState,
    Firing,
    FiringPolicy,
    FiringState,
    Kiln,
    KilnState,
    PartKind,
)

# What crew found when they went to look, by the kind of alarm.
FOUND = {
    "room": "Door was shut and the fan off. Opened both.",
    "falling": "The middle zone is dark.",
    "power_lost": "The middle zone is dark.",
}
AGES_PERCENT_PER_FIRING = 0.28
Shelved = Callable[[Booking, datetime], None]


@dataclass
class FiringRound:
    """How one firing is meant to go. `short_c` below the cone; `opens_at` overrides the wait."""

    scene: Scene
    plate: KilnPlate
    kiln: Kiln
    starts_at: datetime
    has_shelved: Shelved
    register_wh: dict[str, int]
    stage: str = ""
    cone: str = ""
    is_announced: bool = False
    is_empty: bool = False
    is_logged_by_file: bool = False
    breaks_off: str = ""
    short_c: float = 0.0
    opens_at: datetime | None = None
    has_hot_room: bool = False
    firing: Firing | None = None
    log: KilnLog | None = None
    sent: int = field(default=0)

    # --- Before the start -------------------------------------------------------------------

    def announce(self, at: datetime) -> None:
        """Let members book on it, for the ware that waits most."""
        self._choose()
        if not self.stage or not self._kiln_may_fire():
            return
        self.firing = announce_firing(by=self.scene.crew(), at=at, firing=self._planned(at))
        self.is_announced = True

    def load(self, at: datetime) -> None:
        """Make the load from what waits; without ware or with the kiln away nothing is fired."""
        by = self.scene.crew()
        if not self._kiln_may_fire():
            self._call_off(at, f"{self.plate.name} is out of service.")
            return
        if self.firing is None:
            self._choose()
            if not self.stage:
                return
            self.firing = self._planned(at)
        self.firing = begin_loading(by=by, at=at, firing=self.firing)
        if not self.is_empty:
            turn_ware_away(self.scene, self.stage, self.cone, at)
            measure_again(self.scene, self.stage, self.cone, at)
            if not fill_load(by=by, at=at, firing=self.firing).placed:
                self._call_off(at, f"What waits does not fit into {self.plate.name}.")
                return
        self.scene.timeline.plan(self.starts_at, self.start)

    def _choose(self) -> None:
        if self.is_empty:
            self.stage, self.cone = "bisque", FIRST_FIRING_CONE
        elif not self.stage:
            self.stage, self.cone = fullest_queue(self.kiln, day_of(self.starts_at))

    def _kiln_may_fire(self) -> bool:
        self.kiln.refresh_from_db()
        wanted = KilnState.FIRST_FIRING_DUE if self.is_empty else KilnState.IN_SERVICE
        return self.kiln.state == wanted

    def _planned(self, at: datetime) -> Firing:
        return plan_firing(
            by=self.scene.crew(),
            at=at,
            kiln=self.kiln,
            stage=self.stage,
            cone=self.cone,
            planned_for=self.starts_at,
            schedule=schedule_json(schedule_for(self.stage, self.cone)),
            is_empty_first_firing=self.is_empty,
        )

    def _call_off(self, at: datetime, reason: str) -> None:
        if self.firing is not None:
            self.firing = cancel_firing(
                by=self.scene.crew(), at=at, firing=self.firing, reason=reason
            )

    # --- The fire ---------------------------------------------------------------------------

    def start(self, at: datetime) -> None:
        firing = self._now()
        witness = {"witness"} if self.scene.is_chance(0.5) else set()
        ticked = {item.code for item in start_check(firing)} - witness
        is_metered = self.plate.logged == "by hand"
        self.firing = start_firing(
            by=self.scene.crew(),
            at=at,
            firing=firing,
            ticked=ticked,
            register_start_wh=self.register_wh[self.plate.name] if is_metered else None,
            override_reason="No cones in the drawer; ordered." if witness else "",
        )
        schedule = schedule_for(firing.stage, firing.cone, self.short_c)
        self.log = kiln_log(
            self.plate,
            cut_short(schedule) if self.breaks_off else schedule,
            started_at=at,
            load_kg=weight_kg(firing),
            dice=self.scene.dice,
            is_hot_room=self.has_hot_room,
            power_percent=self._power_percent(),
        )
        self._plan_the_rest()

    def _power_percent(self) -> int:
        """Elements give a little less power with each firing since they were fitted."""
        part = self.kiln.parts.get(kind=PartKind.ELEMENT, retired_on=None)
        fired = Firing.objects.filter(
            kiln=self.kiln, state=FiringState.CLOSED, started_at__date__gte=part.fitted_on
        )
        return round(100 - AGES_PERCENT_PER_FIRING * fired.count())

    def _plan_the_rest(self) -> None:
        """When the log comes in, when somebody opens the kiln, or when it is broken off."""
        log, plan, now = self._log(), self.scene.timeline.plan, self.scene.now
        if self.breaks_off:
            broken_at = log.ended_at + timedelta(minutes=50)
            plan(broken_at, self.send_readings)
            plan(broken_at + timedelta(minutes=4), self.break_off)
            plan(log.falls_to(60), self.send_readings)
            return
        cool_at = log.falls_to(FiringPolicy.current().opening_limit_c)
        opens_at = self.opens_at or opening_hour(cool_at + timedelta(minutes=25))
        if self.plate.logged == "by hand":
            plan(log.ended_at, self.note_the_end)
        if self.is_logged_by_file:
            plan(opens_at - timedelta(minutes=8), self.send_readings)
        else:
            halfway_at = log.started_at + (log.ended_at - log.started_at) / 2
            moments = (halfway_at, log.ended_at + timedelta(hours=1), cool_at, opens_at)
            for at in sorted({*moments, now} if log.started_at < now < opens_at else moments):
                plan(at, self.send_readings)
        if self.plate.logged == "by hand":
            plan(opens_at - timedelta(minutes=3), self.read_pyrometer)
        plan(opens_at, self.open)

    def send_readings(self, at: datetime) -> None:
        """What was read since the last time: by the logger itself, as a file, or by hand."""
        ready = [reading for reading in self._log().readings[self.sent :] if reading.at <= at]
        if not ready:
            return
        self.sent += len(ready)
        source = {"by hand": "hand"}.get(self.plate.logged, "logger")
        self._take(ready, "file" if self.is_logged_by_file else source, at)

    def _take(self, readings: list[Reading], source: str, at: datetime) -> None:
        by = None if source == "logger" else self.scene.crew()
        received = add_firing_readings(
            by=by, at=at, firing=self._now(), readings=readings, source=source
        )
        self.firing = received.firing
        if self.firing.alarms.open().filter(acknowledged_at=None).exists():
            self.scene.timeline.plan(at + timedelta(minutes=3), self.see_alarms)

    def see_alarms(self, at: datetime) -> None:
        """Whoever of the crew got the letter goes and looks, and says so."""
        for alarm in self._now().alarms.open().filter(acknowledged_at=None):
            acknowledge_alarm(
                by=self.scene.crew(), at=at, alarm=alarm, remark=FOUND.get(alarm.kind, "")
            )

    def note_the_end(self, at: datetime) -> None:
        """No logger tells when the programme is over: somebody looks."""
        self.send_readings(at)
        if self._now().state == FiringState.FIRING:
            self.firing = begin_cooling(by=self.scene.crew(), at=at, firing=self._now())

    def read_pyrometer(self, at: datetime) -> None:
        self.send_readings(at - timedelta(minutes=1))
        self._take([Reading(at=at, temp_c=round(self._log().temp_c(at)))], "hand", at)

    def break_off(self, at: datetime) -> None:
        self.firing = abort_firing(
            by=self.scene.crew(),
            at=at,
            firing=self._now(),
            reason=self.breaks_off,
            is_kiln_fault=True,
        )

    # --- Out of the kiln --------------------------------------------------------------------

    def open(self, at: datetime) -> None:
        """Open, read the cones, and plan the unloading, one slip after another."""
        firing, dice = self._now(), self.scene.dice
        temp_c = float(round(self._log().temp_c(at)))
        is_hot = temp_c > FiringPolicy.current().opening_limit_c
        self.firing = open_firing(
            by=self.scene.crew(),
            at=at,
            firing=firing,
            temp_c=temp_c,
            reason="Cracked a hand's breadth only, gloves on, to free the kiln." if is_hot else "",
            cones=cones_seen(self.scene, firing, self._log().true_heat_c)
            if self.is_empty or dice.random() < 0.75
            else (),
        )
        unloaded_at = at + timedelta(minutes=25)
        for number, pk in enumerate(firing.bookings.order_by("pk").values_list("pk", flat=True)):
            unloaded_at = at + timedelta(minutes=25 + 4 * number)
            self.scene.timeline.plan(unloaded_at, partial(self.shelve, pk))
        self.scene.timeline.plan(unloaded_at + timedelta(minutes=15), self.close)

    def shelve(self, pk: int, at: datetime) -> None:
        booking = Booking.objects.get(pk=pk)
        booking = shelve_booking(
            by=self.scene.crew(),
            at=at,
            booking=booking,
            place=self.scene.dice.choice(PLACES),
            outcomes=outcomes_of(self.scene, booking),
        )
        if booking.state == BookingState.READY:
            self.has_shelved(booking, at)

    def close(self, at: datetime) -> None:
        """The firing is over; where a meter is read by hand, its register is typed now."""
        end_wh = None
        if self.plate.logged == "by hand":
            self.register_wh[self.plate.name] += self._log().energy_wh
            end_wh = self.register_wh[self.plate.name]
        firing = self._now()
        cooler = CONES[CONES.index(firing.cone) - 1]
        self.firing = close_firing(
            by=self.scene.crew(),
            at=at,
            firing=firing,
            result="under" if self.short_c else "reached",
            reached_cone=cooler if self.short_c else firing.cone,
            register_end_wh=end_wh,
        )

    def _now(self) -> Firing:
        """The firing as it stands."""
        if self.firing is None:
            raise ValueError(f"the firing of {self.plate.name} at {self.starts_at} is not planned")
        return self.firing

    def _log(self) -> KilnLog:
        if self.log is None:
            raise ValueError(f"the firing of {self.plate.name} at {self.starts_at} has no log")
        return self.log
