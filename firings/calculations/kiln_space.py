"""The room inside a kiln: its chamber, its towers of shelves and the posts between them.

All lengths are mm. Seen from above, the middle of the chamber is (0, 0), x goes right and y goes
back; heights count from the chamber's floor. A tower ("stack") is a pile of shelves of one outline;
halved shelves make two towers side by side, each with heights of its own.
"""

import math
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations_with_replacement
from typing import Literal

from firings.calculations.footprints import (
    Disc,
    Footprint,
    Rectangle,
    check_gap_mm,
    check_size_mm,
)
from firings.calculations.outlines import (
    Body,
    Outline,
    place_within,
    roomiest_place,
)
from firings.calculations.shelves import (
    Chamber,
    ChamberShape,
    Place,
    Shelf,
    ShelfShape,
    Side,
    suggested_post_places,
)

# A shelf on fewer posts than this would tip.
LEAST_POSTS = 3


@dataclass(frozen=True, slots=True)
class Stack:
    """A tower of up to `shelves_count` shelves.

    `post_places_mm` says where posts stand on a shelf to carry the next one; with fewer than three
    places nothing can stand above the first shelf. The top shelf carries no posts.
    """

    name: str
    shelf: Shelf
    shelves_count: int
    post_places_mm: tuple[Place, ...] = ()

    def __post_init__(self) -> None:
        if not 1 <= self.shelves_count <= 50:
            raise ValueError(f"shelves_count must lie between 1 and 50, got {self.shelves_count}")

    @property
    def can_carry(self) -> bool:
        return len(self.post_places_mm) >= LEAST_POSTS


@dataclass(frozen=True, slots=True)
class KilnSpace:
    """A kiln as a load sees it.

    `keep_from_wall_mm`: ware to chamber wall, where the elements are. `lowest_post_mm`: the least
    height of the bottom shelf above the floor. `gap_to_posts_mm`: ware to post. `gap_above_mm`: air
    between a piece and the shelf or lid above it. There are enough posts of every height.
    """

    chamber: Chamber
    stacks: tuple[Stack, ...]
    post_heights_mm: tuple[int, ...]
    keep_from_wall_mm: float = 25
    posts_stacked_at_most: int = 2
    post_width_mm: int = 38
    lowest_post_mm: float = 12.7
    gap_to_posts_mm: float = 6
    gap_above_mm: int = 10

    def __post_init__(self) -> None:
        if not self.stacks:
            raise ValueError("stacks must name at least one tower of shelves, got none")
        names = [stack.name for stack in self.stacks]
        if len(set(names)) < len(names):
            raise ValueError(f"stacks must have different names, got {names}")
        for height_mm in self.post_heights_mm:
            check_size_mm("post_heights_mm", height_mm)
        if not 1 <= self.posts_stacked_at_most <= 4:
            raise ValueError(
                f"posts_stacked_at_most must lie between 1 and 4, got {self.posts_stacked_at_most}"
            )
        check_size_mm("post_width_mm", self.post_width_mm)
        check_gap_mm("keep_from_wall_mm", self.keep_from_wall_mm)
        check_gap_mm("gap_to_posts_mm", self.gap_to_posts_mm)
        check_gap_mm("gap_above_mm", self.gap_above_mm)
        if not 0 <= self.lowest_post_mm <= 1000:
            raise ValueError(f"lowest_post_mm must lie from 0 to 1000, got {self.lowest_post_mm}")

    def ware_outline(self, stack: Stack) -> Outline:
        """Where ware may stand on a shelf of this tower: on the shelf and away from the wall."""
        return stack.shelf.outline.within(self.chamber.outline.shrunk(self.keep_from_wall_mm))


@lru_cache(maxsize=64)
def post_choices(heights_mm: tuple[int, ...], at_most: int) -> tuple[tuple[int, ...], ...]:
    """Every height that up to `at_most` posts make, each with as few as possible; lowest first."""
    choices: dict[int, tuple[int, ...]] = {}
    for count in range(1, at_most + 1):
        for posts in combinations_with_replacement(sorted(set(heights_mm), reverse=True), count):
            choices.setdefault(sum(posts), posts)
    return tuple(choices[total] for total in sorted(choices))


def lowest_posts(space: KilnSpace, rise_mm: float) -> tuple[int, ...] | None:
    """The posts, as few as possible, that reach the least height of at least `rise_mm`; or None."""
    choices = post_choices(space.post_heights_mm, space.posts_stacked_at_most)
    return next((posts for posts in choices if sum(posts) >= rise_mm), None)


def tallest_piece_mm(space: KilnSpace) -> int:
    """The greatest height any piece may have: alone on one shelf on the lowest posts.

    0 when the posts in the studio cannot carry a bottom shelf at all.
    """
    posts = lowest_posts(space, space.lowest_post_mm)
    if posts is None:
        return 0
    thinnest = min(stack.shelf.thickness_mm for stack in space.stacks)
    return max(0, space.chamber.height_mm - sum(posts) - thinnest - space.gap_above_mm)


@lru_cache(maxsize=256)
def widest_disc_mm(space: KilnSpace) -> int:
    """The diameter, in whole mm, of the widest round piece that any shelf takes."""
    point = Body(0.0, 0.0, 0.0)
    radii = [
        -roomiest_place(space.ware_outline(stack), point, stack.shelf.bounds_mm)[2]
        for stack in space.stacks
    ]
    return max(0, math.floor(2 * max(radii) + 1e-3))


def bodies_of(footprint: Footprint) -> tuple[tuple[Body, int], ...]:
    """The ways a footprint may be put down: (body, turn_deg), a rectangle as it is and turned."""
    if isinstance(footprint, Disc):
        return ((Body(0.0, 0.0, footprint.diameter_mm / 2), 0),)
    width, depth = footprint.width_mm / 2, footprint.depth_mm / 2
    if width == depth:
        return ((Body(width, depth, 0.0), 0),)
    return ((Body(width, depth, 0.0), 0), (Body(depth, width, 0.0), 90))


@lru_cache(maxsize=4096)
def _lies_on_a_shelf(space: KilnSpace, footprint: Footprint) -> bool:
    return any(
        place_within(space.ware_outline(stack), body, stack.shelf.bounds_mm) is not None
        for stack in space.stacks
        for body, _ in bodies_of(footprint)
    )


@dataclass(frozen=True, slots=True)
class SizeLimit:
    """Why a piece cannot go into a kiln: which limit it breaks, its own size, and the limit.

    `size_mm` is a height, a diameter, or a width and a depth; `most_mm` is the greatest height,
    or the diameter of the widest round piece that a shelf takes.
    """

    limit: Literal["height", "across"]
    size_mm: tuple[int, ...]
    most_mm: int


def check_footprint_fits(
    space: KilnSpace, footprint: Footprint | None, height_mm: int
) -> tuple[SizeLimit, ...]:
    """Every limit a piece breaks in an otherwise empty kiln; empty when it fits.

    `footprint` is None for a booking of a shelf fraction, which has only a height.
    """
    check_size_mm("height_mm", height_mm)
    limits = []
    tallest_mm = tallest_piece_mm(space)
    if height_mm > tallest_mm:
        limits.append(SizeLimit("height", (height_mm,), tallest_mm))
    if footprint is not None and not _lies_on_a_shelf(space, footprint):
        limits.append(SizeLimit("across", _across_mm(footprint), widest_disc_mm(space)))
    return tuple(limits)


def _across_mm(footprint: Footprint) -> tuple[int, ...]:
    if isinstance(footprint, Rectangle):
        return footprint.width_mm, footprint.depth_mm
    return (footprint.diameter_mm,)


__all__ = [
    "LEAST_POSTS",
    "Chamber",
    "ChamberShape",
    "KilnSpace",
    "Place",
    "Shelf",
    "ShelfShape",
    "Side",
    "SizeLimit",
    "Stack",
    "bodies_of",
    "check_footprint_fits",
    "lowest_posts",
    "post_choices",
    "suggested_post_places",
    "tallest_piece_mm",
    "widest_disc_mm",
]
