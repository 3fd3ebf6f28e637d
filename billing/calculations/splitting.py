"""Sharing whole minor units out exactly: largest remainder, and a firing's pool by shelf area."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from typing import Any, Literal, TypeVar

Key = TypeVar("Key", int, str)
SplitPolicy = Literal["used", "capacity"]
Rounding = Literal["exact", "dropped", "added"]

QUOTA_PLACES = 6


def largest_remainder(total: int, weights: Sequence[tuple[Key, int]]) -> dict[Key, int]:
    """Split `total` whole units over `weights`; the parts always sum to `total`.

    Each key first gets the whole part of total * weight / sum(weights); the units left over
    go one each to the largest fractions, ties to the lowest key. A negative total is split
    as its mirror image, so a reversal cancels its original to the unit. All arithmetic is on
    integers. Raises ValueError for a negative or non-integer weight, a key given twice, or
    weights that do not add up to anything.

    Source: the method of Hamilton (1792), also called Hare quota with largest remainders;
    COMAP, For All Practical Purposes, 10th ed., ch. 14.
    """
    _check_weights(total, weights)
    return _parts(total, weights)


def _parts(total: int, weights: Sequence[tuple[Key, int]]) -> dict[Key, int]:
    """`largest_remainder` of weights that are known to be right."""
    units = abs(total)
    whole_weight = sum(weight for _, weight in weights)
    parts: dict[Key, int] = {}
    remainders: list[tuple[int, Key]] = []
    for key, weight in weights:
        parts[key], remainder = divmod(units * weight, whole_weight)
        remainders.append((-remainder, key))
    left_over = units - sum(parts.values())
    if left_over:
        remainders.sort()
        for _, key in remainders[:left_over]:
            parts[key] += 1
    return parts if total >= 0 else {key: -part for key, part in parts.items()}


def _check_weights(total: int, weights: Sequence[tuple[Key, int]]) -> None:
    if not isinstance(total, int):
        raise ValueError(f"total must be a whole number of units, not {total!r}")
    for key, weight in weights:
        if not isinstance(weight, int):
            raise ValueError(f"weight of {key!r} must be a whole number, not {weight!r}")
        if weight < 0:
            raise ValueError(f"weight of {key!r} must not be negative, but is {weight}")
    if len({key for key, _ in weights}) < len(weights):
        seen = Counter(key for key, _ in weights)
        raise ValueError(f"weights name {seen.most_common(1)[0][0]!r} twice")
    if not any(weight for _, weight in weights):
        raise ValueError("weights add up to nothing, so there is no one to share the total")


@dataclass(frozen=True)
class ShareRequest:
    """One booking in the load and the shelf area it is charged for.

    `weight` is what the pool is split by, where that is not the area: area x height of its layer.
    """

    booking_number: int
    area_mm2: int
    weight: int | None = None

    @property
    def counted(self) -> int:
        """The weight, or the area where nothing else weighs."""
        return self.area_mm2 if self.weight is None else self.weight


@dataclass(frozen=True)
class _Rule:
    """A pool, what of it each booking carries alike, and what the rest is divided by."""

    pool_minor: int
    fixed_minor: int
    bookings: int
    policy: SplitPolicy
    divisor_mm2: int
    weight_divisor: int

    @cached_property
    def scale(self) -> int:
        return self.bookings if self.fixed_minor else 1

    @cached_property
    def _rest(self) -> int:
        return self.scale * (self.pool_minor - self.fixed_minor)

    def numerator(self, weight: int) -> int:
        """A booking's quota times `denominator`: fixed / bookings + rest x weight / divisor."""
        return self.fixed_minor * self.weight_divisor + self._rest * weight

    def empty_numerator(self, weight: int) -> int:
        """The same for the empty area, which carries nothing of the fixed part."""
        return self._rest * weight

    @cached_property
    def denominator(self) -> int:
        return self.scale * self.weight_divisor


@dataclass(frozen=True)
class ShareResult:
    """What one booking carries of a pool, in minor units.

    The amount is what was given out; quota, rounding and working follow from it and are worked
    out when they are asked for.
    """

    request: ShareRequest
    amount_minor: int
    rule: _Rule

    @property
    def booking_number(self) -> int:
        return self.request.booking_number

    @property
    def area_mm2(self) -> int:
        return self.request.area_mm2

    @property
    def quota(self) -> Fraction:
        """The exact share before rounding."""
        return Fraction(self.rule.numerator(self.request.counted), self.rule.denominator)

    @property
    def rounding(self) -> Rounding:
        """What became of the quota's fraction: `exact` (there was none), `dropped`, or `added`
        (a whole unit was given in its place)."""
        rounding: Rounding = self.working["rounding"]
        return rounding

    @property
    def working(self) -> dict[str, Any]:
        """Every number needed to repeat the sum with a pocket calculator, ready for JSON."""
        rule, weight = self.rule, self.request.counted
        numerator = rule.numerator(weight)
        whole_units, remainder = divmod(abs(numerator), rule.denominator)
        # towards zero, so that a reversal mirrors its original
        whole_minor = whole_units if numerator >= 0 else -whole_units
        return {
            "policy": rule.policy,
            "pool_minor": rule.pool_minor,
            "fixed_minor": rule.fixed_minor,
            "bookings": rule.bookings,
            "area_mm2": self.area_mm2,
            "divisor_mm2": rule.divisor_mm2,
            "weight": weight,
            "weight_divisor": rule.weight_divisor,
            "weighs": "area" if self.request.weight is None else "height",
            "quota_minor": _cut_decimal(numerator, rule.denominator),
            "whole_minor": whole_minor,
            "remainder": remainder,
            "rounding": _rounding(whole_minor, remainder, self.amount_minor),
            "amount_minor": self.amount_minor,
        }


@dataclass(frozen=True)
class SplitResult:
    """All shares of one pool, in booking order; with `studio_minor` they sum to the pool."""

    pool_minor: int
    policy: SplitPolicy
    divisor_mm2: int
    shares: tuple[ShareResult, ...]
    studio_minor: int
    warnings: tuple[str, ...] = ()


def split_pool(
    pool_minor: int,
    areas: Sequence[ShareRequest],
    policy: SplitPolicy,
    usable_area_mm2: int,
    *,
    fixed_minor: int = 0,
    usable_weight: int | None = None,
) -> SplitResult:
    """Split a firing's cost pool by charged shelf area, or by the weights of the requests.

    `used`: the bookings carry the whole pool (a firing without bookings is the studio's).
    `capacity`: the bookings carry their part of `usable_area_mm2`, the studio the empty rest.
    When bookings are charged for more than the usable area nothing is empty; the divisor is
    then the charged area and the result carries a warning.

    `fixed_minor` of the pool (heating the empty kiln) is carried by all bookings alike, the rest
    by area: fixed / bookings + rest x area / divisor, rounded once. That is the Shapley value
    and the serial cost share of a common cost with own costs (Littlechild & Owen 1973, Management
    Science 20(3); Moulin & Shenker 1992, Econometrica 60(5)): nobody carries more than alone,
    nobody less than the own part.

    With weights, `usable_weight` stands for the usable area. Ties go to the lowest booking
    number, the studio comes last. Raises ValueError for an unknown policy, a negative area, a
    booking given twice, bookings that all have no area, weights that only some have, and a fixed
    part beyond the pool.
    """
    _check_pool(areas, policy, usable_area_mm2)
    _check_rule(pool_minor, areas, policy, fixed_minor, usable_weight)
    used_mm2 = sum(request.area_mm2 for request in areas)
    used = sum(request.counted for request in areas)
    if policy == "capacity":
        empty_mm2 = max(usable_area_mm2 - used_mm2, 0)
        empty = empty_mm2 if usable_weight is None else max(usable_weight - used, 0)
    else:
        empty_mm2 = empty = 0
    if not areas:
        return SplitResult(pool_minor, policy, empty_mm2, (), pool_minor)

    rule = _Rule(pool_minor, fixed_minor, len(areas), policy, used_mm2 + empty_mm2, used + empty)
    amounts, studio_minor = _amounts(rule, areas, empty)
    in_order = sorted(areas, key=lambda request: request.booking_number)
    return SplitResult(
        pool_minor=pool_minor,
        policy=policy,
        divisor_mm2=rule.divisor_mm2,
        shares=tuple(
            ShareResult(request, amounts[request.booking_number], rule) for request in in_order
        ),
        studio_minor=studio_minor,
        warnings=_warnings(policy, used_mm2, usable_area_mm2),
    )


def _amounts(rule: _Rule, areas: Sequence[ShareRequest], empty: int) -> tuple[dict[int, int], int]:
    """Whole units of each booking by number, and of the studio."""
    if rule.pool_minor == 0:
        return {request.booking_number: 0 for request in areas}, 0
    studio_key = max(request.booking_number for request in areas) + 1
    weights = [(request.booking_number, abs(rule.numerator(request.counted))) for request in areas]
    weights.append((studio_key, abs(rule.empty_numerator(empty))))
    amounts = _parts(rule.pool_minor, weights)
    return amounts, amounts.pop(studio_key)


def _check_pool(areas: Sequence[ShareRequest], policy: str, usable_area_mm2: int) -> None:
    if policy not in ("used", "capacity"):
        raise ValueError(f"policy must be 'used' or 'capacity', not {policy!r}")
    if policy == "capacity" and usable_area_mm2 <= 0:
        raise ValueError(f"usable_area_mm2 must be more than 0, but is {usable_area_mm2}")
    if not areas:
        return
    if not any(request.area_mm2 for request in areas):
        raise ValueError("areas hold no charged area, so there is nothing to split by")
    _check_weights(0, [(request.booking_number, request.area_mm2) for request in areas])


def _check_rule(
    pool_minor: int,
    areas: Sequence[ShareRequest],
    policy: str,
    fixed_minor: int,
    usable_weight: int | None,
) -> None:
    if not isinstance(fixed_minor, int):
        raise ValueError(f"fixed_minor must be a whole number of units, not {fixed_minor!r}")
    if fixed_minor * pool_minor < 0 or abs(fixed_minor) > abs(pool_minor):
        raise ValueError(f"fixed_minor {fixed_minor} is not a part of pool_minor {pool_minor}")
    weighted = [request for request in areas if request.weight is not None]
    if not weighted:
        return
    if len(weighted) < len(areas):
        raise ValueError("areas have a weight for some bookings and none for others")
    _check_weights(0, [(request.booking_number, request.counted) for request in weighted])
    if policy == "capacity" and usable_weight is None:
        raise ValueError("usable_weight must be given where bookings have weights")


def _rounding(whole_minor: int, remainder: int, amount_minor: int) -> Rounding:
    if amount_minor != whole_minor:
        return "added"
    return "dropped" if remainder else "exact"


def _cut_decimal(numerator: int, denominator: int) -> str:
    """The quota cut, not rounded: 5.9999999 must not read as 6, whose whole part is another."""
    sign = "-" if numerator < 0 else ""
    cut = abs(numerator) * 10**QUOTA_PLACES // denominator
    whole, fraction = divmod(cut, 10**QUOTA_PLACES)
    return f"{sign}{whole}.{fraction:0{QUOTA_PLACES}d}"


def _warnings(policy: SplitPolicy, used_mm2: int, usable_area_mm2: int) -> tuple[str, ...]:
    if policy == "capacity" and used_mm2 > usable_area_mm2:
        return (
            f"charged area {used_mm2} mm2 is more than the usable area {usable_area_mm2} mm2; "
            "the pool was split over the charged area and the studio carries none of it",
        )
    return ()
