"""A kiln's record, seen as the room that a load is planned in."""

from __future__ import annotations

from fractions import Fraction

from firings.calculations.footprints import SHELF_FRACTIONS, Disc, Footprint, Rectangle
from firings.calculations.kiln_space import KilnSpace, Stack
from firings.calculations.shelves import Chamber, Shelf, Side, suggested_post_places
from firings.models import Booking, FiringPolicy, Kiln, Piece, ShelfSet
from firings.refusals import WareRefusal


def space_of(kiln: Kiln, policy: FiringPolicy) -> KilnSpace:
    """The kiln with its standard shelves."""
    shelf_set = standard_shelves(kiln)
    return KilnSpace(
        chamber=_chamber(kiln),
        stacks=stacks_of(shelf_set, kiln.post_width_mm),
        post_heights_mm=tuple(kiln.post_heights_mm),
        keep_from_wall_mm=kiln.keep_from_wall_mm,
        posts_stacked_at_most=kiln.posts_stacked_at_most,
        post_width_mm=kiln.post_width_mm,
        lowest_post_mm=policy.lowest_post_mm,
        gap_to_posts_mm=policy.gap_to_posts_mm,
        gap_above_mm=policy.gap_above_mm,
    )


def standard_shelves(kiln: Kiln) -> ShelfSet:
    """The shelf set that loads are planned with."""
    standard = [shelves for shelves in kiln.shelf_sets.all() if shelves.is_standard]
    if not standard:
        raise WareRefusal(
            "kiln_without_shelves",
            f"{kiln} has no shelves yet. Add its shelf set on the kiln's page first.",
        )
    return standard[0]


def shelf_area_mm2(kiln: Kiln) -> int:
    """The surface of one shelf of the standard set."""
    return stacks_of(standard_shelves(kiln), kiln.post_width_mm)[0].shelf.area_mm2


def footprint_of(piece: Piece) -> Footprint | None:
    """The outline a piece stands on; None for a booking of a shelf fraction."""
    if not piece.shape:
        return None
    if piece.shape == "round":
        return Disc(piece.across_mm or 0)
    return Rectangle(piece.across_mm or 0, piece.depth_mm or 0)


def fraction_of(booking: Booking) -> Fraction | None:
    return SHELF_FRACTIONS[booking.shelf_fraction] if booking.shelf_fraction else None


def _chamber(kiln: Kiln) -> Chamber:
    across, height = kiln.chamber_across_mm, kiln.chamber_height_mm
    if kiln.chamber_shape == "round":
        return Chamber("round", height, diameter_mm=across)
    if kiln.chamber_shape == "octagon":
        return Chamber("octagon", height, across_flats_mm=across)
    return Chamber("rectangle", height, width_mm=across, depth_mm=kiln.chamber_depth_mm)


def _shelf(shelf_set: ShelfSet, side: Side | None = None) -> Shelf:
    across, thickness = shelf_set.across_mm, shelf_set.thickness_mm
    if shelf_set.shape == "half_round":
        return Shelf("half_round", thickness, diameter_mm=across, side=side)
    if shelf_set.shape == "round":
        return Shelf("round", thickness, diameter_mm=across)
    if shelf_set.shape == "octagon":
        return Shelf("octagon", thickness, across_flats_mm=across)
    return Shelf("rectangle", thickness, width_mm=across, depth_mm=shelf_set.depth_mm)


def stacks_of(shelf_set: ShelfSet, post_width_mm: int) -> tuple[Stack, ...]:
    """One tower, or two side by side for half-rounds, which share the shelves of the set."""
    if shelf_set.shape != "half_round":
        shelf = _shelf(shelf_set)
        places = suggested_post_places(shelf, post_width_mm)
        return (Stack("whole", shelf, shelf_set.count, places),)
    sides: tuple[Side, Side] = ("left", "right")
    shelves = {side: _shelf(shelf_set, side) for side in sides}
    return tuple(
        Stack(
            side,
            shelf,
            max(1, shelf_set.count // 2),
            suggested_post_places(shelf, post_width_mm),
        )
        for side, shelf in shelves.items()
    )
