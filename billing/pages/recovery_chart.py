"""Recovery of the bills as bars: what members paid, what the studio carried, what is left."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from billing.actions.recovery import Recovered

WIDTH, HEIGHT, FOOT = 720, 260, 24
BILLS_SHOWN = 12
BAR_SHARE = 0.7
# (class of the colour, letter in the bar)
PARTS = (("members", "M"), ("studio", "S"), ("other", "D"))
LETTER_FITS = 16


@dataclass(frozen=True)
class Bar:
    part: str
    letter: str
    x: float
    y: float
    width: float
    height: float
    middle_x: float
    letter_y: float


@dataclass(frozen=True)
class BillLabel:
    text: str
    x: float


@dataclass(frozen=True)
class RecoveryChart:
    width: int
    height: int
    base_y: int
    label_y: int
    bars: tuple[Bar, ...]
    labels: tuple[BillLabel, ...]


def recovery_chart(rows: Sequence[Recovered]) -> RecoveryChart | None:
    """The newest bills, oldest on the left; None without any.

    Where more was recovered than billed there is no difference to draw: the table says so.
    """
    shown = list(rows[:BILLS_SHOWN])[::-1]
    if not shown:
        return None
    top_minor = max(max(row.bill.amount_minor, row.recovered_minor) for row in shown)
    step = WIDTH / len(shown)
    bars = [
        bar
        for number, row in enumerate(shown)
        for bar in _bars(row, number * step, step, top_minor)
    ]
    labels = [
        BillLabel(f"{row.bill.last_day:%b %Y}", round((number + 0.5) * step, 1))
        for number, row in enumerate(shown)
    ]
    base_y = HEIGHT - FOOT
    return RecoveryChart(WIDTH, HEIGHT, base_y, HEIGHT - 6, tuple(bars), tuple(labels))


def _bars(row: Recovered, left: float, step: float, top_minor: int) -> Iterator[Bar]:
    y = float(HEIGHT - FOOT)
    amounts = (row.members_minor, row.studio_minor, row.other_minor)
    for (part, letter), amount_minor in zip(PARTS, amounts, strict=True):
        height = max(amount_minor, 0) / top_minor * (HEIGHT - FOOT - 8)
        if height <= 0:
            continue
        y -= height
        yield Bar(
            part,
            letter if height >= LETTER_FITS else "",
            round(left + step * (1 - BAR_SHARE) / 2, 1),
            round(y, 1),
            round(step * BAR_SHARE, 1),
            round(height, 1),
            round(left + step / 2, 1),
            round(y + height / 2 + 5, 1),
        )
