"""What the load planner is asked, and what it answers.

All lengths are mm, dates are days. A queue is what waits for one kiln; a plan says which firing
each piece goes into and where it stands. Seen from above, the middle of the chamber is (0, 0),
x goes right and y goes back; heights count from the chamber's floor.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction

from firings.calculations.footprints import (
    Footprint,
    Rectangle,
    area_mm2,
    check_gap_mm,
)
from firings.calculations.kiln_space import KilnSpace
from firings.calculations.load_plan import LoadPiece, LoadPlan, Placement, PlannedLayer


@dataclass(frozen=True, slots=True)
class QueuePiece:
    """One piece that waits for a firing, or a booked fraction of a shelf (no footprint).

    `ready_on`: dry from this day on. `group`: pieces of one group are fired together, all of them
    or none; empty means a group of its own. `booked_order`: who came first, lower is earlier.
    """

    id: str
    member: str
    stage: str
    cone: str
    footprint: Footprint | None
    height_mm: int
    ready_on: date
    due_on: date | None = None
    group: str = ""
    booked_order: int = 0
    fraction: Fraction | None = None
    kind: str = ""

    def __post_init__(self) -> None:
        self.as_load_piece()

    def as_load_piece(self) -> LoadPiece:
        """The same piece without dates; raises ValueError for a size that cannot be."""
        return LoadPiece(self.id, self.footprint, self.height_mm, self.booked_order, self.fraction)

    @property
    def area_mm2(self) -> int:
        """The area it stands on; 0 for a booked fraction, which depends on the shelf."""
        return 0 if self.footprint is None else area_mm2(self.footprint)


@dataclass(frozen=True, slots=True)
class Queue:
    """Everything that waits for one kiln.

    `today`: the first day on which the kiln can be fired; the next firing is at least
    `days_between_firings` days later. `gap_mm`: clear distance between two pieces, by stage.
    """

    name: str
    today: date
    days_between_firings: int
    space: KilnSpace
    gap_mm: Mapping[str, float]
    pieces: tuple[QueuePiece, ...]
    cone_pack_layers: int = 0

    def __post_init__(self) -> None:
        if self.days_between_firings < 1:
            raise ValueError(
                f"days_between_firings must be 1 or more, got {self.days_between_firings}"
            )
        if self.cone_pack_layers < 0:
            raise ValueError(f"cone_pack_layers must be 0 or more, got {self.cone_pack_layers}")
        check_pieces(self.pieces)
        for stage in sorted({piece.stage for piece in self.pieces}):
            if stage not in self.gap_mm:
                raise ValueError(f"gap_mm must name the spacing for {stage}")
            check_gap_mm(f"gap_mm[{stage!r}]", self.gap_mm[stage])


def check_pieces(pieces: tuple[QueuePiece, ...] | list[QueuePiece]) -> None:
    """Raise ValueError for an id that comes twice or a group of more than one stage or cone."""
    seen: set[str] = set()
    firing_of: dict[str, tuple[str, str]] = {}
    for piece in pieces:
        if piece.id in seen:
            raise ValueError(f"pieces must have different ids, got {piece.id!r} twice")
        seen.add(piece.id)
        firing = (piece.stage, piece.cone)
        if piece.group and firing_of.setdefault(piece.group, firing) != firing:
            raise ValueError(
                f"group {piece.group!r} must be of one stage and cone, "
                f"got {firing_of[piece.group]} and {firing}"
            )


@dataclass(frozen=True, slots=True)
class PlannedFiring:
    """One firing of a queue's plan."""

    fire_on: date
    stage: str
    cone: str
    layers: tuple[PlannedLayer, ...]

    @property
    def piece_ids(self) -> tuple[str, ...]:
        """Every piece and booked fraction in it, layer by layer."""
        return tuple(
            piece_id
            for layer in self.layers
            for piece_id in (
                *(put.piece_id for put in layer.placements),
                *(booked for booked, _ in layer.fractions),
            )
        )


@dataclass(frozen=True, slots=True)
class QueuePlan:
    """Firings in order of date, and the ids that no firing takes."""

    firings: tuple[PlannedFiring, ...]
    waiting: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class LoadRule:
    """How the worth of firing a piece now is weighed: its area, its wait, its due date.

    A piece is worth its area times

        area_weight + waiting_weight_per_day x days waited + due_weight / (1 + days till due)

    (days waited count from `ready_on`; a day past due counts as due today). `area_weight` 1 with
    the others 0 fills the kiln and looks at nothing else. The aging guarantee stands above the
    sum: a piece that has waited longer than `waits_at_most_days` goes before everything that has
    not, the longest wait first, so that nobody's ware waits for ever; None switches it off.
    The defaults are ours, no source: a day's wait adds 2 % to a piece's worth, a piece due at
    once counts double.
    """

    area_weight: float = 1.0
    waiting_weight_per_day: float = 0.02
    due_weight: float = 1.0
    waits_at_most_days: int | None = 28

    def __post_init__(self) -> None:
        for name in ("area_weight", "waiting_weight_per_day", "due_weight"):
            if not 0 <= getattr(self, name) <= 1000:
                raise ValueError(f"{name} must lie from 0 to 1000, got {getattr(self, name)}")
        if self.waits_at_most_days is not None and self.waits_at_most_days < 0:
            raise ValueError(f"waits_at_most_days must be 0 or more, got {self.waits_at_most_days}")

    def worth(self, piece: QueuePiece, area: float, on: date) -> float:
        """The worth of firing a piece that takes `area` mm2 on this day."""
        waited = max(0, (on - piece.ready_on).days)
        weight = self.area_weight + self.waiting_weight_per_day * waited
        if piece.due_on is not None:
            weight += self.due_weight / (1 + max(0, (piece.due_on - on).days))
        return area * weight

    def is_overdue_to_wait(self, piece: QueuePiece, on: date) -> bool:
        """Whether the aging guarantee puts this piece before the others."""
        if self.waits_at_most_days is None:
            return False
        return (on - piece.ready_on).days > self.waits_at_most_days


AREA_ONLY = LoadRule(1.0, 0.0, 0.0, None)


@dataclass(frozen=True, slots=True)
class KeptFree:
    """Room that crew keep on a shelf, for tests or a late piece.

    Ware keeps the same distance from it as from other ware. `height_mm`: the height that what
    will stand there may have; the layer is made at least so high.
    """

    room: Rectangle
    x_mm: float
    y_mm: float
    turn_deg: float = 0
    height_mm: int = 0


@dataclass(frozen=True, slots=True)
class HeldLayer:
    """What crew have decided about one shelf: the `index`-th from the bottom of its tower.

    `post_mm`: the posts under it, or None when the planner may choose (the height of a layer is
    set by the posts of the shelf above it). `locked`, `locked_fractions` and `cone_pack` stay
    where they are. On an `is_whole` layer nothing is added.
    """

    stack: str
    index: int
    post_mm: tuple[int, ...] | None = None
    locked: tuple[Placement, ...] = ()
    locked_fractions: tuple[tuple[str, tuple[int, ...]], ...] = ()
    cone_pack: Placement | None = None
    keep_free: tuple[KeptFree, ...] = ()
    is_whole: bool = False

    def __post_init__(self) -> None:
        if self.index < 1:
            raise ValueError(f"index must be 1 or more, got {self.index}")


@dataclass(frozen=True, slots=True)
class Held:
    """Everything crew have decided about a load: the search works around it."""

    layers: tuple[HeldLayer, ...] = ()
    forbidden: frozenset[str] = field(default_factory=frozenset)

    def __post_init__(self) -> None:
        places = [(layer.stack, layer.index) for layer in self.layers]
        if len(set(places)) < len(places):
            raise ValueError(f"layers must name each shelf once, got {places}")

    @property
    def locked_ids(self) -> frozenset[str]:
        """The pieces and booked fractions that stay where they are."""
        return frozenset(
            piece_id
            for layer in self.layers
            for piece_id in (
                *(put.piece_id for put in layer.locked),
                *(booked for booked, _ in layer.locked_fractions),
            )
        )


@dataclass(frozen=True, slots=True)
class LoadProgress:
    """One answer of the load search, better than the one before.

    `score`: the worth of the pieces in it by the rule. `bound_mm2`: no load can hold more area.
    `steps`: work done so far, the same on every machine.
    """

    plan: LoadPlan
    area_mm2: int
    score: float
    bound_mm2: int
    steps: int
    is_best_possible: bool


@dataclass(frozen=True, slots=True)
class QueueProgress:
    """One answer of the queue search. `fill`: footprints over the area of the shelves used.

    `bound`: no plan can clear the queue with fewer firings. `late`: pieces fired after `due_on`.
    `firings_without_dates`: the fewest that this search found when only `ready_on` counts, None
    as long as it has not looked; the difference is what the dates cost.
    """

    plan: QueuePlan
    firings: int
    fill: float
    bound: int
    steps: int
    is_best_possible: bool
    late: int = 0
    firings_without_dates: int | None = None


__all__ = [
    "AREA_ONLY",
    "Held",
    "HeldLayer",
    "KeptFree",
    "LoadPlan",
    "LoadProgress",
    "LoadRule",
    "PlannedFiring",
    "Queue",
    "QueuePiece",
    "QueuePlan",
    "QueueProgress",
    "check_pieces",
]
