"""Build the demo: open the studio, plan what everybody does, and let time run up to now."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from functools import partial

from billing.demo.bank import take_in_yesterdays_statement
from billing.demo.books import Books
from billing.demo.kiln_calendar import KilnCalendar
from billing.demo.kilns import set_up_kilns
from billing.demo.last_touches import settle_the_present
from billing.demo.makers import Makers
from billing.demo.people import open_the_studio
from billing.demo.scene import Scene, day_of
from billing.demo.ware import stock_the_studio
from firings.actions.remind_pick_ups import remind_pick_ups
from studio.actions.deliver import deliver_due
from studio.actions.outbox import without_nudges
from studio.models import Person
from studio.refusals import Refusal

WEEKS = 26
WEEKS_AT_LEAST = 3
DELIVERED_WITHIN = timedelta(seconds=20)

Say = Callable[[str], None]


def build_demo(*, now: datetime, weeks: int = WEEKS, say: Say) -> Scene:
    """Fill an empty database with `weeks` of an invented studio that end at `now`.

    Deterministic: the same `now` and `weeks` give the same studio. Refused where people are.
    """
    if Person.objects.exists():
        raise Refusal(
            "studio_has_people",
            "This database holds a studio with people already, and the demo never mixes with"
            " one. Choose an empty database; `python3 -m studio demo --fresh` makes one.",
        )
    if weeks < WEEKS_AT_LEAST:
        raise Refusal(
            "too_few_weeks", f"The demo needs at least {WEEKS_AT_LEAST} weeks, not {weeks}."
        )
    scene = Scene(now=now.astimezone(UTC), first_day=day_of(now, -7 * weeks))
    with without_nudges():
        _begin(scene)
        scene.timeline.run_until(scene.now, partial(_after_each, Months(say)))
        deliver_due(at=scene.now)
    return scene


def _begin(scene: Scene) -> None:
    open_the_studio(scene)
    morning = scene.moment(scene.first_day, "08:06")
    stock_the_studio(scene, morning)
    kilns = set_up_kilns(scene, morning + timedelta(minutes=2))
    makers = Makers(scene)
    makers.begin()
    Books(scene).begin()
    KilnCalendar(scene, kilns, makers).begin()
    for number in range(1, scene.days_count + 1):
        at = scene.moment(scene.day(number), "09:00")
        scene.timeline.plan(at, _remind)
    scene.timeline.plan(
        scene.now - timedelta(minutes=14), partial(take_in_yesterdays_statement, scene)
    )
    scene.timeline.plan(
        scene.now - timedelta(minutes=9), lambda at: settle_the_present(scene, makers, at)
    )


def _remind(at: datetime) -> None:
    remind_pick_ups(at=at)


class Months:
    """Says each month once, when it begins."""

    def __init__(self, say: Say) -> None:
        self.say, self.said = say, ""

    def see(self, at: datetime) -> None:
        month = f"{day_of(at):%B %Y}"
        if month != self.said:
            self.said = month
            self.say(f"  {month} ...")


def _after_each(months: Months, at: datetime) -> None:
    """Letters leave at the moment of the deed they tell of."""
    months.see(at)
    deliver_due(at=at + DELIVERED_WITHIN)
