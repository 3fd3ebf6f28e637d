"""When which kiln is fired: counted back from now, so that each stands where it should."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from functools import partial

from billing.demo.firing_round import FiringRound
from billing.demo.kilns import BITTERN, CURLEW, PIPIT, PLATES, KilnPlate
from billing.demo.makers import Makers
from billing.demo.scene import Scene, day_of
from firings.actions.kilns import issue_kiln_token, replace_part, return_to_service
from firings.actions.plan_firing import plan_firing
from firings.models import Kiln, KilnState, PartKind

LOADING_TAKES = timedelta(minutes=95)
ANNOUNCED_AHEAD = timedelta(days=5)
# The last firing of each kiln: Pipit heats now, Bittern cools now, Curlew was just opened.
LAST_STARTS_BEFORE_NOW = {
    PIPIT.name: timedelta(hours=5, minutes=20),
    BITTERN.name: timedelta(hours=21),
    CURLEW.name: timedelta(hours=62),
}
CURLEW_OPENS_BEFORE_NOW = timedelta(minutes=34)
DAYS_BETWEEN = {
    PIPIT.name: (4.3, 5.5),
    BITTERN.name: (6.0, 7.5),
    CURLEW.name: (5.5, 7.0),
}
EMPTY_ON_DAY = {PIPIT.name: 1, BITTERN.name: 1, CURLEW.name: 2}
# Ware is booked, dried and waiting before the first load.
FIRST_LOAD_ON_DAY = 6
FAULT_AT_SHARE = 0.55
HOT_ROOM_AT_SHARE = 0.45
LOGGER_AT_SHARE = 0.4


class KilnCalendar:
    """Plans every firing of the three kilns."""

    def __init__(self, scene: Scene, kilns: dict[str, Kiln], makers: Makers) -> None:
        self.scene, self.kilns, self.makers = scene, kilns, makers
        self.registers_wh = {plate.name: plate.register_wh for plate in PLATES}

    def begin(self) -> None:
        for plate in PLATES:
            self._plan_round(plate, self._empty_start(plate), is_empty=True)
            starts = list(self._starts(plate))
            for number, starts_at in enumerate(starts):
                is_last = number == len(starts) - 1
                self._plan_round(
                    plate,
                    starts_at,
                    is_announced=plate.name != PIPIT.name and number % 3 == 1 and not is_last,
                    is_logged_by_file=self._is_by_file(plate, starts_at) and not is_last,
                    breaks_off=self._fault(plate, starts, number),
                    short_c=26.0 if plate.name == CURLEW.name and number == 4 else 0.0,
                    opens_at=self._opens_at(plate, is_last),
                    has_hot_room=self._is_nearest(starts, number, HOT_ROOM_AT_SHARE)
                    and plate.name == PIPIT.name,
                )
        self._plan_logger()
        self._plan_the_coming_week()

    def _empty_start(self, plate: KilnPlate) -> datetime:
        return self.scene.moment(self.scene.day(EMPTY_ON_DAY[plate.name]), "16:00")

    def _starts(self, plate: KilnPlate) -> Iterator[datetime]:
        """From the first load to the last, which is set by the clock and not by the calendar."""
        last_at = self.scene.now - LAST_STARTS_BEFORE_NOW[plate.name]
        first = self.scene.day(FIRST_LOAD_ON_DAY)
        starts = [last_at]
        while True:
            days = self.scene.dice.uniform(*DAYS_BETWEEN[plate.name])
            day = day_of(starts[-1] - timedelta(days=days))
            if day < first:
                return iter(reversed(starts))
            clock = self.scene.dice.choice(("09:30", "17:45", "20:10"))
            starts.append(self.scene.moment(day, "09:00" if plate is CURLEW else clock))

    def _plan_round(self, plate: KilnPlate, starts_at: datetime, **how: object) -> FiringRound:
        made = FiringRound(
            scene=self.scene,
            plate=plate,
            kiln=self.kilns[plate.name],
            starts_at=starts_at,
            has_shelved=self.makers.has_shelved,
            register_wh=self.registers_wh,
            **how,  # type: ignore[arg-type]
        )
        if made.is_announced:
            self.scene.timeline.plan(starts_at - ANNOUNCED_AHEAD, made.announce)
        self.scene.timeline.plan(starts_at - LOADING_TAKES, made.load)
        return made

    def _is_nearest(self, starts: list[datetime], number: int, share: float) -> bool:
        wanted = self.scene.moment(self.scene.at_share(share), "12:00")
        return starts[number] == min(starts, key=lambda start: abs(start - wanted))

    def _opens_at(self, plate: KilnPlate, is_last: bool) -> datetime | None:
        if plate is CURLEW and is_last:
            return self.scene.now - CURLEW_OPENS_BEFORE_NOW
        return None

    # --- A fault ----------------------------------------------------------------------------

    def _fault(self, plate: KilnPlate, starts: list[datetime], number: int) -> str:
        """Once, in Bittern: an element gives up. Then come a repair and an empty firing."""
        is_it = plate is BITTERN and self._is_nearest(starts, number, FAULT_AT_SHARE)
        if not is_it or number == len(starts) - 1:
            return ""
        day = day_of(starts[number])
        self.scene.timeline.plan(self.scene.moment(day + timedelta(days=2), "13:30"), self.repair)
        self._plan_round(plate, self.scene.moment(day + timedelta(days=2), "17:20"), is_empty=True)
        return "The middle zone stopped heating: an element is broken. Switched off at the breaker."

    def repair(self, at: datetime) -> None:
        """New elements are fitted; the kiln must then run empty."""
        kiln = Kiln.objects.get(pk=self.kilns[BITTERN.name].pk)
        if kiln.state != KilnState.OUT_OF_SERVICE:
            return
        part = kiln.parts.get(kind=PartKind.ELEMENT, retired_on=None)
        replace_part(by=self.scene.manager, at=at, part=part, reason="One of them broke.")
        return_to_service(
            by=self.scene.manager, at=at, kiln=kiln, reason="Repaired by the kiln electrician."
        )

    # --- Loggers ----------------------------------------------------------------------------

    def _is_by_file(self, plate: KilnPlate, starts_at: datetime) -> bool:
        """Bittern's log was carried over on a stick, until its logger got a key of its own."""
        is_before = day_of(starts_at) < self.scene.at_share(LOGGER_AT_SHARE)
        return plate is BITTERN and is_before

    def _plan_logger(self) -> None:
        day = self.scene.at_share(LOGGER_AT_SHARE)
        self.scene.timeline.plan(self.scene.moment(day, "12:10"), self._add_logger)

    def _add_logger(self, at: datetime) -> None:
        kiln = self.kilns[BITTERN.name]
        issue_kiln_token(by=self.scene.manager, at=at, kiln=kiln, name=BITTERN.logger)

    # --- What is to come --------------------------------------------------------------------

    def _plan_the_coming_week(self) -> None:
        """Curlew is announced for a glaze firing in three days; Pipit is on the calendar."""
        today = day_of(self.scene.now)
        coming = self._plan_round(
            CURLEW,
            self.scene.moment(today + timedelta(days=3), "09:00"),
            stage="glaze",
            cone="6",
        )
        announced_at = self.scene.now - timedelta(days=2, hours=4)
        self.scene.timeline.plan(announced_at, coming.announce)
        self.scene.timeline.plan(
            announced_at + timedelta(hours=1),
            partial(self._plan_pipit, self.scene.moment(today + timedelta(days=2), "18:00")),
        )

    def _plan_pipit(self, planned_for: datetime, at: datetime) -> None:
        plan_firing(
            by=self.scene.crew(),
            at=at,
            kiln=self.kilns[PIPIT.name],
            stage="bisque",
            cone="04",
            planned_for=planned_for,
            note="After Pipit is unloaded.",
        )
