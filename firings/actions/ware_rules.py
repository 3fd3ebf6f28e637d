"""The rules of the trade that hold at booking and again at loading."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, timedelta

from firings.actions.kiln_space import space_of
from firings.actions.size_words import limit_words
from firings.calculations.cones import CONES, cone_rank, is_within
from firings.calculations.footprints import Footprint
from firings.calculations.kiln_space import check_footprint_fits, tallest_piece_mm
from firings.models import Booking, Clay, FiringPolicy, Glaze, Kiln, KilnState, Stage
from firings.refusals import WareRefusal
from studio.models import Person

DRY_WITHIN_DAYS = 120


def check_cone(cone: str, stage: str, policy: FiringPolicy) -> None:
    """Refuse a cone nobody knows, or one that this studio does not fire."""
    if cone not in CONES:
        raise WareRefusal(
            "unknown_cone",
            f"There is no cone {cone!r}. Mind the zero: 06 is much cooler than 6.",
            field="cone",
        )
    fired = policy.bisque_cones if stage == Stage.BISQUE else policy.glaze_cones
    if fired and cone not in fired:
        raise WareRefusal(
            "cone_not_fired_here",
            f"This studio fires {stage} to cone {', '.join(fired)}, not to cone {cone}.",
            field="cone",
        )


def check_materials(
    *, name: str, stage: str, cone: str, clay: Clay, glazes: Iterable[Glaze]
) -> None:
    """Refuse a clay or glaze whose cone range leaves out `cone`: what ruins shelves."""
    glazes = list(glazes)
    if stage == Stage.BISQUE:
        if glazes:
            raise WareRefusal(
                "glaze_in_bisque", "Greenware for bisque carries no glaze.", field="glazes"
            )
        _check_range(name, f"The clay {clay}", clay.bisque_cone_low, clay.bisque_cone_high, cone)
        return
    if not glazes:
        raise WareRefusal("glaze_missing", "Say which glazes are on the ware.", field="glazes")
    _check_range(name, f"The clay {clay}", clay.cone_low, clay.cone_high, cone, field="clay")
    for glaze in glazes:
        label = f"The glaze {glaze}"
        _check_range(name, label, glaze.cone_low, glaze.cone_high, cone, field="glazes")


def _check_range(
    name: str, material: str, low: str, high: str, cone: str, field: str = "clay"
) -> None:
    if not is_within(cone, low, high):
        raise WareRefusal(
            "cone_outside_range",
            f"{material} on {name} is for cone {low} to {high}; cone {cone} would ruin the ware "
            "or the shelf. Choose another cone, or the right material.",
            field=field,
            cone_low=low,
            cone_high=high,
        )


def check_dry_on(dry_on: date, today: date) -> None:
    """Refuse a dry date in the past or absurdly far away."""
    if dry_on < today:
        raise WareRefusal(
            "dry_date_in_the_past",
            "The day on which the ware is dry lies in the past. If it is dry now, choose today.",
            field="dry_on",
        )
    if dry_on > today + timedelta(days=DRY_WITHIN_DAYS):
        raise WareRefusal(
            "dry_date_too_far",
            f"Book at most {DRY_WITHIN_DAYS} days before the ware is dry.",
            field="dry_on",
        )


def can_fire(kiln: Kiln, cone: str) -> bool:
    """Whether a kiln in use reaches `cone` by its own limit."""
    is_in_use = kiln.state != KilnState.OUT_OF_SERVICE
    return is_in_use and cone_rank(cone) <= cone_rank(kiln.cone_limit)


def kilns_for(cone: str) -> list[Kiln]:
    """The kilns that can fire `cone`; refused when there is none."""
    kilns = [kiln for kiln in Kiln.objects.prefetch_related("shelf_sets") if can_fire(kiln, cone)]
    kilns = [kiln for kiln in kilns if kiln.shelf_sets.all()]
    if not kilns:
        raise WareRefusal(
            "no_kiln_for_cone",
            f"No kiln in service fires to cone {cone}. Ask the kiln crew.",
            field="cone",
        )
    return kilns


def check_sizes(
    sizes: Iterable[tuple[str, Footprint | None, int]],
    kilns: list[Kiln],
    policy: FiringPolicy,
    reader: Person,
) -> None:
    """Refuse a piece that no kiln takes, and say the limit of the roomiest.

    `sizes` are name, footprint (None for a part of a shelf) and height.
    """
    spaces = {kiln: space_of(kiln, policy) for kiln in kilns}
    roomiest = max(kilns, key=lambda kiln: tallest_piece_mm(spaces[kiln]))
    for name, footprint, height_mm in set(sizes):
        limits = {
            kiln: check_footprint_fits(space, footprint, height_mm)
            for kiln, space in spaces.items()
        }
        if all(limits.values()):
            told = limit_words(limits[roomiest], reader)
            where = f"every kiln. In the roomiest, {roomiest}:" if kilns[1:] else f"{roomiest}."
            raise WareRefusal(
                "piece_fits_no_kiln",
                f"{name} is too big for {where} {told}",
                field="pieces",
                limits=[limit.limit for limit in limits[roomiest]],
            )


def check_goes_in_one_load(bare_mm2: int, kilns: list[Kiln], policy: FiringPolicy) -> None:
    """Refuse more on one slip than all shelves of the largest kiln: it would wait for ever.

    `bare_mm2` is what the pieces stand on, without spacing.
    """
    stacks = [space_of(kiln, policy).stacks for kiln in kilns]
    shelves_mm2 = [sum(s.shelf.area_mm2 * s.shelves_count for s in of_kiln) for of_kiln in stacks]
    if bare_mm2 > max(shelves_mm2):
        raise WareRefusal(
            "more_than_one_load",
            "This is more than the shelves of any kiln hold at once. One slip is fired together: "
            "book it on two.",
            field="pieces",
        )


def check_may_enter(booking: Booking, *, stage: str, cone: str, on: date) -> None:
    """What is asked again when ware goes into a load; names the slip."""
    if (booking.stage, booking.cone) != (stage, cone):
        raise WareRefusal(
            "wrong_load",
            f"Slip {booking.slip} is {booking.stage} to cone {booking.cone}; "
            f"this load is {stage} to cone {cone}.",
        )
    if booking.dry_on > on:
        raise WareRefusal(
            "not_dry_yet",
            f"Slip {booking.slip} is not dry before {booking.dry_on:%-d %B}. "
            "Wet ware breaks in the kiln and can break what stands beside it.",
        )
    check_materials(
        name=f"slip {booking.slip}",
        stage=stage,
        cone=cone,
        clay=booking.clay,
        glazes=booking.glazes.all(),
    )
