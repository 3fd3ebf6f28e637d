"""Energy used from one moment to another, whoever measured it."""

from dataclasses import dataclass
from datetime import datetime
from typing import Protocol


class EnergyInterval(Protocol):
    """Energy used from one moment to another: anything with these three attributes."""

    @property
    def start_at(self) -> datetime: ...
    @property
    def end_at(self) -> datetime: ...
    @property
    def energy_wh(self) -> int: ...


@dataclass(frozen=True)
class MeteredEnergy:
    """A plain EnergyInterval, for callers who have none of their own."""

    start_at: datetime
    end_at: datetime
    energy_wh: int
