"""Sharing whole minor units out exactly: largest remainder, and a firing's pool by shelf area."""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
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
    sign = -1 if total < 0 else 1
    whole_weight = sum(weight for _, weight in weights)
    parts: dict[Key, int] = {}
    remainders: list[tuple[int, Key]] = []
    for key, weight in weights:
        parts[key], remainder = divmod(abs(total) * weight, whole_weight)
        remainders.append((-remainder, key))
    left_over = abs(total) - sum(parts.values())
    for _, key in sorted(remainders)[:left_over]:
        parts[key] += 1
    return {key: sign * part for key, part in parts.items()}


def _check_weights(total: int, weights: Sequence[tuple[Key, int]]) -> None:
    if not isinstance(total, int):
        raise ValueError(f"total must be a whole number of units, not {total!r}")
    seen: set[Key] = set()
    for key, weight in weights:
        if not isinstance(weight, int):
            raise ValueError(f"weight of {key!r} must be a whole number, not {weight!r}")
        if weight < 0:
            raise ValueError(f"weight of {key!r} must not be negative, but is {weight}")
        if key in seen:
            raise ValueError(f"weights name {key!r} twice")
        seen.add(key)
    if sum(weight for _, weight in weights) == 0:
        raise ValueError("weights add up to nothing, so there is no one to share the total")


@dataclass(frozen=True)
class ShareRequest:
    """One booking in the load and the shelf area it is charged for."""

    booking_number: int
    area_mm2: int


@dataclass(frozen=True)
class ShareResult:
    """What one booking pays. `quota` is the exact share before rounding, in minor units.

    `rounding` says what became of the quota's fraction: `exact` (there was none), `dropped`,
    or `added` (a whole unit was given in its place). `working` holds every number needed to
    repeat the sum with a pocket calculator, as whole numbers and text, ready for JSON.
    """

    booking_number: int
    area_mm2: int
    amount_minor: int
    quota: Fraction
    rounding: Rounding
    working: dict[str, Any]


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
) -> SplitResult:
    """Split a firing's cost pool by charged shelf area.

    `used`: the bookings carry the whole pool (a firing without bookings is the studio's).
    `capacity`: the bookings carry their part of `usable_area_mm2`, the studio the empty rest.
    When bookings are charged for more than the usable area nothing is empty; the divisor is
    then the charged area and the result carries a warning. Ties go to the lowest booking
    number, the studio comes last. Raises ValueError for an unknown policy, a negative area, a
    booking given twice, or bookings that all have no area.
    """
    _check_pool(areas, policy, usable_area_mm2)
    used_mm2 = sum(request.area_mm2 for request in areas)
    empty_mm2 = max(usable_area_mm2 - used_mm2, 0) if policy == "capacity" else 0
    if not areas:
        return SplitResult(pool_minor, policy, empty_mm2, (), pool_minor)

    studio_key = max(request.booking_number for request in areas) + 1
    weights = [(request.booking_number, request.area_mm2) for request in areas]
    amounts = largest_remainder(pool_minor, [*weights, (studio_key, empty_mm2)])
    divisor_mm2 = used_mm2 + empty_mm2
    in_order = sorted(areas, key=lambda request: request.booking_number)
    shares = tuple(
        _share(pool_minor, request, divisor_mm2, amounts[request.booking_number], policy)
        for request in in_order
    )
    return SplitResult(
        pool_minor=pool_minor,
        policy=policy,
        divisor_mm2=divisor_mm2,
        shares=shares,
        studio_minor=amounts[studio_key],
        warnings=_warnings(policy, used_mm2, usable_area_mm2),
    )


def _check_pool(areas: Sequence[ShareRequest], policy: str, usable_area_mm2: int) -> None:
    if policy not in ("used", "capacity"):
        raise ValueError(f"policy must be 'used' or 'capacity', not {policy!r}")
    if policy == "capacity" and usable_area_mm2 <= 0:
        raise ValueError(f"usable_area_mm2 must be more than 0, but is {usable_area_mm2}")
    if areas and not any(request.area_mm2 for request in areas):
        raise ValueError("areas hold no charged area, so there is nothing to split by")


def _share(
    pool_minor: int,
    request: ShareRequest,
    divisor_mm2: int,
    amount_minor: int,
    policy: SplitPolicy,
) -> ShareResult:
    quota = Fraction(pool_minor * request.area_mm2, divisor_mm2)
    whole_minor = int(quota)  # towards zero, so that a reversal mirrors its original
    rounding = _rounding(quota, whole_minor, amount_minor)
    working = {
        "policy": policy,
        "pool_minor": pool_minor,
        "area_mm2": request.area_mm2,
        "divisor_mm2": divisor_mm2,
        "quota_minor": _cut_decimal(quota),
        "whole_minor": whole_minor,
        "remainder": abs(pool_minor * request.area_mm2) % divisor_mm2,
        "rounding": rounding,
        "amount_minor": amount_minor,
    }
    return ShareResult(
        request.booking_number, request.area_mm2, amount_minor, quota, rounding, working
    )


def _rounding(quota: Fraction, whole_minor: int, amount_minor: int) -> Rounding:
    if quota == amount_minor:
        return "exact"
    return "dropped" if amount_minor == whole_minor else "added"


def _cut_decimal(quota: Fraction) -> str:
    """The quota cut, not rounded: 5.9999999 must not read as 6, whose whole part is another."""
    sign = "-" if quota < 0 else ""
    whole, fraction = divmod(int(abs(quota) * 10**QUOTA_PLACES), 10**QUOTA_PLACES)
    return f"{sign}{whole}.{fraction:0{QUOTA_PLACES}d}"


def _warnings(policy: SplitPolicy, used_mm2: int, usable_area_mm2: int) -> tuple[str, ...]:
    if policy == "capacity" and used_mm2 > usable_area_mm2:
        return (
            f"charged area {used_mm2} mm2 is more than the usable area {usable_area_mm2} mm2; "
            "the pool was split over the charged area and the studio carries none of it",
        )
    return ()
