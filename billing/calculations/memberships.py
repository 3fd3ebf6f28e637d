"""What follows the split: minimum charge, guest surcharge, allowances, subsidies, crew credits.

Each is a step with its own amount, so that a share, its steps and what is charged always add up.
The order is fixed: the minimum first (it is the least a booking costs), then surcharges, then what
an allowance gives free, then what a subsidy carries of the rest. Percentages are whole basis
points (1/100 of a percent) and split by largest remainder, a tie in the member's favour.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

from billing.calculations.splitting import largest_remainder

TermKind = Literal["surcharge", "area_allowance", "amount_allowance", "subsidy"]
StepKind = Literal["minimum", "surcharge", "area_allowance", "amount_allowance", "subsidy"]
CrewKind = Literal["crew_firing", "crew_hour", "crew_percent"]
TERM_ORDER: tuple[TermKind, ...] = ("surcharge", "area_allowance", "amount_allowance", "subsidy")
CREW_KINDS: tuple[CrewKind, ...] = ("crew_firing", "crew_hour", "crew_percent")
WHOLE_BP = 10_000
MINUTES_PER_HOUR = 60


@dataclass(frozen=True)
class Term:
    """One thing agreed with an account, known by `key`.

    `value` is basis points of a surcharge or subsidy, and what an allowance has left this month:
    mm2 or minor units.
    """

    key: int
    kind: TermKind
    value: int

    def __post_init__(self) -> None:
        if self.kind not in TERM_ORDER:
            raise ValueError(f"kind must be one of {', '.join(TERM_ORDER)}, not {self.kind!r}")
        if not isinstance(self.value, int) or self.value < 0:
            raise ValueError(f"value of term {self.key} must be 0 or more, not {self.value!r}")
        if self.kind == "subsidy" and self.value > WHOLE_BP:
            raise ValueError(f"value of subsidy {self.key} is more than the whole: {self.value}")


@dataclass(frozen=True)
class BookingShare:
    """A booking's part of the pool, and the terms of the account it is charged on."""

    booking_number: int
    split_minor: int
    area_mm2: int
    terms: tuple[Term, ...] = ()


@dataclass(frozen=True)
class Step:
    """What one rule adds to a share (positive) or takes off it (negative), in minor units.

    `used` is what it uses up of an allowance: mm2 or minor units.
    """

    kind: StepKind
    amount_minor: int
    key: int | None = None
    used: int = 0
    working: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class BookingCharge:
    """What a booking is charged: its part of the pool and all steps, together never below 0."""

    booking_number: int
    split_minor: int
    charged_minor: int
    steps: tuple[Step, ...]


def charge_bookings(
    shares: Sequence[BookingShare], minimum_minor: int = 0
) -> tuple[BookingCharge, ...]:
    """The charges of a firing's bookings, by number; allowances are used up in that order.

    Raises ValueError for a negative share or minimum, or a booking given twice.
    """
    if minimum_minor < 0:
        raise ValueError(f"minimum_minor must not be negative, but is {minimum_minor}")
    if len({share.booking_number for share in shares}) < len(shares):
        raise ValueError("shares name a booking twice")
    used: dict[int, int] = {}
    charges = []
    for share in sorted(shares, key=lambda share: share.booking_number):
        charge = _charge(share, minimum_minor, used)
        for step in charge.steps:
            if step.key is not None:
                used[step.key] = used.get(step.key, 0) + step.used
        charges.append(charge)
    return tuple(charges)


def _charge(share: BookingShare, minimum_minor: int, used: Mapping[int, int]) -> BookingCharge:
    if share.split_minor < 0:
        raise ValueError(f"split_minor must not be negative, but is {share.split_minor}")
    steps = [_minimum(share.split_minor, minimum_minor)]
    so_far_minor = max(share.split_minor, minimum_minor)
    area_left_mm2 = share.area_mm2
    for kind in TERM_ORDER:
        for term in sorted((one for one in share.terms if one.kind == kind), key=lambda t: t.key):
            left = max(term.value - used.get(term.key, 0), 0)
            step = _step(term, so_far_minor, area_left_mm2, left)
            so_far_minor += step.amount_minor
            if kind == "area_allowance":
                area_left_mm2 -= step.used
            steps.append(step)
    kept = tuple(step for step in steps if step.amount_minor or step.used)
    return BookingCharge(share.booking_number, share.split_minor, so_far_minor, kept)


def _minimum(split_minor: int, minimum_minor: int) -> Step:
    working = {"minimum_minor": minimum_minor, "before_minor": split_minor}
    return Step("minimum", max(minimum_minor - split_minor, 0), working=working)


def _step(term: Term, before_minor: int, area_mm2: int, left: int) -> Step:
    """One term on what is charged so far; `left` is an allowance's rest."""
    if term.kind == "surcharge":
        added_minor = part_of(before_minor, term.value, WHOLE_BP)
        return Step("surcharge", added_minor, term.key, 0, _percent_working(term, before_minor))
    if term.kind == "subsidy":
        carried_minor = part_of(before_minor, term.value, WHOLE_BP)
        return Step("subsidy", -carried_minor, term.key, 0, _percent_working(term, before_minor))
    if term.kind == "amount_allowance":
        free_minor = min(left, before_minor)
        working = {"left_before_minor": left, "before_minor": before_minor}
        return Step("amount_allowance", -free_minor, term.key, free_minor, working)
    free_mm2 = min(left, area_mm2)
    free_minor = part_of(before_minor, free_mm2, area_mm2) if free_mm2 else 0
    working = {
        "left_before_mm2": left,
        "free_mm2": free_mm2,
        "area_mm2": area_mm2,
        "before_minor": before_minor,
    }
    return Step("area_allowance", -free_minor, term.key, free_mm2, working)


def _percent_working(term: Term, before_minor: int) -> dict[str, Any]:
    return {"basis_points": term.value, "before_minor": before_minor}


def part_of(amount_minor: int, part: int, whole: int) -> int:
    """`part` of `whole` of an amount, rounded by largest remainder: a half goes to the part.

    A part beyond the whole (a surcharge of more than 100 %) counts its whole amounts first.
    Raises ValueError for a whole of nothing.
    """
    if whole <= 0:
        raise ValueError(f"whole must be more than 0, but is {whole}")
    times, rest = divmod(part, whole)
    return times * amount_minor + largest_remainder(amount_minor, [(0, rest), (1, whole - rest)])[0]


@dataclass(frozen=True)
class CrewTerm:
    """A credit for work at the kiln: minor units for a firing or an hour, or basis points."""

    key: int
    kind: CrewKind
    value: int

    def __post_init__(self) -> None:
        if self.kind not in CREW_KINDS:
            raise ValueError(f"kind must be one of {', '.join(CREW_KINDS)}, not {self.kind!r}")
        if not isinstance(self.value, int) or self.value < 0:
            raise ValueError(f"value of term {self.key} must be 0 or more, not {self.value!r}")


def crew_credit_minor(term: CrewTerm, minutes: int, charged_minor: int) -> int:
    """The credit for one person's work on one firing, in minor units.

    `minutes` counts for a credit by the hour, `charged_minor` (what the account is charged for the
    firing) for a percentage. A half goes to the person. Raises ValueError for negative numbers.
    """
    if minutes < 0 or charged_minor < 0:
        raise ValueError(f"minutes {minutes} and charged_minor {charged_minor} must be 0 or more")
    if term.kind == "crew_firing":
        return term.value
    if term.kind == "crew_hour":
        return part_of(term.value, minutes, MINUTES_PER_HOUR)
    return part_of(charged_minor, min(term.value, WHOLE_BP), WHOLE_BP)
