"""What every part of the demo stands on: the people, the kilns, the clock and the dice."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from billing.demo.timeline import Timeline
from studio.models import Person

TIME_ZONE = "America/Halifax"
ZONE = ZoneInfo(TIME_ZONE)
SEED = 18_260_704


@dataclass
class Scene:
    """One run of the demo, from `first_day` to `now`.

    All moments are UTC: sums of local times go wrong in the two odd nights of the year.
    """

    now: datetime
    first_day: date
    dice: random.Random = field(default_factory=lambda: random.Random(SEED))  # noqa: S311
    timeline: Timeline = field(default_factory=Timeline)
    people: dict[str, Person] = field(default_factory=dict)

    @property
    def manager(self) -> Person:
        return self.people["marisol"]

    @property
    def treasurer(self) -> Person:
        return self.people["anselm"]

    def crew(self) -> Person:
        """Whoever of the crew happens to be there."""
        return self.people[self.dice.choice(("tamsin", "kwabena", "yuki", "oisin"))]

    def moment(self, day: date, clock: str) -> datetime:
        """A wall-clock time of the studio, such as "09:30", on a day."""
        return datetime.combine(day, time.fromisoformat(clock), tzinfo=ZONE).astimezone(UTC)

    def day(self, number: int) -> date:
        """The day so many days after the first."""
        return self.first_day + timedelta(days=number)

    def some_time(self, day: date, first_hour: int = 9, last_hour: int = 20) -> datetime:
        """A minute of a day when people are in the studio."""
        minutes = self.dice.randint(first_hour * 60, last_hour * 60 - 1)
        return self.moment(day, f"{minutes // 60:02}:{minutes % 60:02}")

    def at_share(self, share: float) -> date:
        """The day after a share of the whole span, such as 0.5 for its middle."""
        return self.first_day + timedelta(days=int(share * self.days_count))

    @property
    def days_count(self) -> int:
        return (day_of(self.now) - self.first_day).days

    def is_chance(self, share: float) -> bool:
        return self.dice.random() < share

    def pick(self, people: Sequence[str]) -> Person:
        return self.people[self.dice.choice(people)]


def day_of(at: datetime, days: int = 0) -> date:
    """The studio's day at a moment, or so many days after it."""
    return at.astimezone(ZONE).date() + timedelta(days=days)


def opening_hour(at: datetime) -> datetime:
    """`at`, or the next morning when nobody is in the studio then."""
    local = at.astimezone(ZONE)
    if local.hour < 8:
        return local.replace(hour=8, minute=20).astimezone(UTC)
    if local.hour >= 21:
        return (local + timedelta(days=1)).replace(hour=8, minute=20).astimezone(UTC)
    return at
