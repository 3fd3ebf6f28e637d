"""The summary of a firing's log, kept up to date batch by batch.

A summary is never worked out again from the first reading: each batch is added to the one
before. Only when readings arrive for a time that is already summarised must the caller start
over with `summarise`. Both ways give the same summary, to the last bit.

Time between two readings more than 30 minutes apart is a gap: it adds no hot time, no hold and
no heating rate, because nobody knows what the kiln did. `gap_seconds` says how much that was.
"""

from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from datetime import datetime, timedelta
from typing import Any

from firings.calculations.readings import GAP_MAX, Reading, require_time_order

# Elements hardly wear below it. Common practice, no source.
HOT_FROM_C = 600
# Wear doubles about every 57 C (see billing's wear): wider classes would level cone 6 with 10.
HOT_CLASS_C = 25
# How still a hold is, and how long a rate is taken over: ours, no source.
HOLD_BAND_C = 5.0
RATE_WINDOW = timedelta(hours=1)
RATE_WINDOW_MIN = timedelta(minutes=10)
RATE_POINT_SPACING = timedelta(minutes=5)

Point = tuple[datetime, float]


@dataclass(frozen=True)
class FiringSummary:
    """What a firing's readings up to `last_at` amount to. Times are aware, temperatures C.

    hot_seconds: lower bound of a class of 25 C, from 600 C -> seconds spent in that class.
    heating_rate_c_per_h: over about the last hour; negative when cooling; None until there are
    10 minutes of readings since the start or the last gap.
    hold_seconds: how long the temperature has now stayed within 5 C of where the hold began.
    peak_hold_seconds: the same for the hold that the peak lies in.
    """

    readings_count: int = 0
    first_at: datetime | None = None
    last_at: datetime | None = None
    last_temp_c: float | None = None
    peak_c: float | None = None
    peak_at: datetime | None = None
    hot_seconds: dict[int, float] = field(default_factory=dict)
    gaps_count: int = 0
    gap_seconds: float = 0.0
    heating_rate_c_per_h: float | None = None
    hold_started_at: datetime | None = None
    hold_c: float | None = None
    hold_seconds: float = 0.0
    peak_hold_started_at: datetime | None = None
    peak_hold_seconds: float = 0.0
    rate_points: tuple[Point, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Return the summary as a dict that JSON can carry; times as ISO 8601."""
        values: dict[str, Any] = {
            name: value.isoformat() if isinstance(value, datetime) else value
            for name, value in asdict(self).items()
        }
        values["hot_seconds"] = {str(low_c): s for low_c, s in self.hot_seconds.items()}
        values["rate_points"] = [[at.isoformat(), temp_c] for at, temp_c in self.rate_points]
        return values

    @classmethod
    def from_json(cls, values: dict[str, Any]) -> "FiringSummary":
        """Return the summary that `to_json` gave. An empty dict is an empty summary."""
        known: dict[str, Any] = {
            name: datetime.fromisoformat(value) if name.endswith("_at") and value else value
            for name, value in values.items()
        }
        known["hot_seconds"] = {int(c): s for c, s in values.get("hot_seconds", {}).items()}
        known["rate_points"] = tuple(
            (datetime.fromisoformat(at), temp_c) for at, temp_c in values.get("rate_points", ())
        )
        return cls(**known)


def summarise(readings: Sequence[Reading]) -> FiringSummary:
    """Return the summary of a whole log. Raises ValueError when it is out of order."""
    return add_readings(FiringSummary(), None, readings)


def add_readings(
    summary: FiringSummary, previous_reading: Reading | None, new_readings: Sequence[Reading]
) -> FiringSummary:
    """Return the summary with new readings added; the one given is left as it is.

    previous_reading is the last reading already summarised, None when there is none: it proves
    that the batch belongs to this summary. Raises ValueError when it does not match the summary,
    and when readings are out of order or not later than it: then rebuild with `summarise`.
    """
    previous_at = previous_reading.at if previous_reading else None
    if previous_at != summary.last_at:
        raise ValueError(
            f"previous_reading is at {previous_at}, but the summary ends at {summary.last_at}"
        )
    require_time_order([*([previous_reading] if previous_reading else []), *new_readings])
    if not new_readings:
        return summary
    tally = _Tally(summary)
    for reading in new_readings:
        tally.add(reading.at, reading.temp_c)
    return tally.summary()


class _Tally:
    """A summary while a batch is being added."""

    def __init__(self, summary: FiringSummary) -> None:
        self.values: dict[str, Any] = dict(vars(summary))
        self.hot_seconds = dict(summary.hot_seconds)
        self.rate_points = list(summary.rate_points)

    def add(self, at: datetime, temp_c: float) -> None:
        values = self.values
        values["first_at"] = values["first_at"] or at
        last_at = values["last_at"]
        is_after_gap = last_at is not None and at - last_at > GAP_MAX
        if is_after_gap:
            values["gaps_count"] += 1
            values["gap_seconds"] += (at - last_at).total_seconds()
        elif last_at is not None:
            self._add_hot_time((at - last_at).total_seconds(), values["last_temp_c"], temp_c)
        self._follow_hold(at, temp_c, is_after_gap)
        self._follow_peak(at, temp_c)
        self._follow_rate(at, temp_c, is_after_gap)
        values["readings_count"] += 1
        values["last_at"], values["last_temp_c"] = at, temp_c

    def _add_hot_time(self, seconds: float, start_c: float, end_c: float) -> None:
        """Share a step out over the classes that a straight line from start to end crosses."""
        low_c, high_c = min(start_c, end_c), max(start_c, end_c)
        class_c = max(HOT_FROM_C, int(low_c // HOT_CLASS_C) * HOT_CLASS_C)
        while class_c <= high_c:
            if high_c == low_c:
                share = 1.0
            else:
                inside_c = min(high_c, class_c + HOT_CLASS_C) - max(low_c, class_c)
                share = inside_c / (high_c - low_c)
            if share > 0:
                self.hot_seconds[class_c] = self.hot_seconds.get(class_c, 0.0) + seconds * share
            class_c += HOT_CLASS_C

    def _follow_hold(self, at: datetime, temp_c: float, is_after_gap: bool) -> None:
        values = self.values
        hold_c = values["hold_c"]
        if hold_c is None or is_after_gap or abs(temp_c - hold_c) > HOLD_BAND_C:
            values["hold_started_at"], values["hold_c"] = at, temp_c
        values["hold_seconds"] = (at - values["hold_started_at"]).total_seconds()

    def _follow_peak(self, at: datetime, temp_c: float) -> None:
        values = self.values
        if values["peak_c"] is None or temp_c > values["peak_c"]:
            values["peak_c"], values["peak_at"] = temp_c, at
            values["peak_hold_started_at"] = values["hold_started_at"]
        if values["peak_hold_started_at"] == values["hold_started_at"]:
            values["peak_hold_seconds"] = values["hold_seconds"]

    def _follow_rate(self, at: datetime, temp_c: float, is_after_gap: bool) -> None:
        points = self.rate_points
        if is_after_gap:
            points.clear()
        if not points or at - points[-1][0] >= RATE_POINT_SPACING:
            points.append((at, temp_c))
        while len(points) > 1 and at - points[1][0] >= RATE_WINDOW:
            del points[0]
        start_at, start_c = points[0]
        span = at - start_at
        hours = span.total_seconds() / 3600
        is_long_enough = span >= RATE_WINDOW_MIN
        rate = (temp_c - start_c) / hours if is_long_enough else None
        self.values["heating_rate_c_per_h"] = rate

    def summary(self) -> FiringSummary:
        self.values["hot_seconds"] = dict(sorted(self.hot_seconds.items()))
        self.values["rate_points"] = tuple(self.rate_points)
        return FiringSummary(**self.values)
