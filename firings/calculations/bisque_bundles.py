"""Bisque packing as the trade does it: pieces that go into the kiln as one bundle.

In a bisque firing ware may touch, nest and stack rim to rim (a kiln maker's loading guide; 3rd
Coast Clay, studio guide). Pieces of one slip become a bundle before a load is planned: like bowls
in each other, a lid on its jar, tiles in a row on edge. The planner sees the bundle as one piece
that bears the number of its first member, the carrier; the others ride on it. Which piece is a
bowl, jar, lid or tile is read from its name, and from sizes that such ware has.

How much a nested bowl stands out, how long a row of tiles is and how it is propped: common
practice, no source. Lengths are mm.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum

from firings.calculations.footprints import Disc, Footprint, Rectangle

# A nested bowl stands out of the one below by a third of its height, and by its wall at least.
NEST_RISE_SHARE, NEST_RISE_LEAST_MM = 3, 15
NESTED_AT_MOST = 6
# Fewer tiles have no hold on each other; more are heavy, and slow to dry and heat in the middle.
TILES_IN_A_ROW = (3, 8)
TILE_THICK_AT_MOST_MM = 30
# Room for the prop (a post or a brick) that a row leans on, at either end.
PROP_MM = 30


class BundleKind(StrEnum):
    """How the members of a bundle stand together."""

    NEST = "nest"
    LID = "lid"
    EDGE = "edge"


@dataclass(frozen=True, slots=True)
class BundleRule:
    """What the studio allows. `bowls_nested_at_most` 1: none stands in another."""

    bowls_nested_at_most: int = 1
    lids_on_jars: bool = False
    tiles_on_edge: bool = False

    def __post_init__(self) -> None:
        if not 1 <= self.bowls_nested_at_most <= NESTED_AT_MOST:
            raise ValueError(
                f"bowls_nested_at_most must lie from 1 to {NESTED_AT_MOST}, "
                f"got {self.bowls_nested_at_most}"
            )


@dataclass(frozen=True, slots=True)
class Ware:
    """One piece of a slip, by itself."""

    id: str
    name: str
    footprint: Footprint
    height_mm: int


@dataclass(frozen=True, slots=True)
class Bundle:
    """Pieces that stand as one; the first carries the others."""

    kind: BundleKind
    members: tuple[Ware, ...]

    def __post_init__(self) -> None:
        if len(self.members) < 2:
            raise ValueError(f"members must be two pieces or more, got {len(self.members)}")

    @property
    def id(self) -> str:
        """The number of its carrier: what plans call it."""
        return self.members[0].id

    @property
    def rider_ids(self) -> tuple[str, ...]:
        return tuple(ware.id for ware in self.members[1:])

    @property
    def footprint(self) -> Footprint:
        """What it stands on, with its props."""
        first = self.members[0]
        if self.kind != BundleKind.EDGE or not isinstance(first.footprint, Rectangle):
            return first.footprint
        row_mm = sum(ware.height_mm for ware in self.members) + 2 * PROP_MM
        return Rectangle(max(first.footprint.width_mm, first.footprint.depth_mm), row_mm)

    @property
    def height_mm(self) -> int:
        first = self.members[0]
        if self.kind == BundleKind.EDGE and isinstance(first.footprint, Rectangle):
            return min(first.footprint.width_mm, first.footprint.depth_mm)
        if self.kind == BundleKind.LID:
            return sum(ware.height_mm for ware in self.members)
        return first.height_mm + sum(nest_rise_mm(ware.height_mm) for ware in self.members[1:])


def nest_rise_mm(height_mm: int) -> int:
    """By how much a bowl stands out of a like one below it."""
    return max(NEST_RISE_LEAST_MM, math.ceil(height_mm / NEST_RISE_SHARE))


def bundles_of(
    slip: Sequence[Ware], rule: BundleRule, *, may_stand: Callable[[Footprint, int], bool]
) -> tuple[Bundle, ...]:
    """The bundles that the pieces of one slip make, in the order of its pieces.

    `may_stand`: whether a footprint of a height goes into the kiln at all; no bundle is made that
    does not. A piece is in one bundle at most.
    """
    bundles = [
        *_alike(slip, _is_bowl, BundleKind.NEST, (2, rule.bowls_nested_at_most), may_stand),
        *(_lidded(slip, may_stand) if rule.lids_on_jars else []),
    ]
    if rule.tiles_on_edge:
        bundles += _alike(slip, _is_tile, BundleKind.EDGE, TILES_IN_A_ROW, may_stand)
    places = {ware.id: number for number, ware in enumerate(slip)}
    return tuple(sorted(bundles, key=lambda bundle: places[bundle.id]))


def _alike(
    slip: Sequence[Ware],
    is_one: Callable[[Ware], bool],
    kind: BundleKind,
    sizes: tuple[int, int],
    may_stand: Callable[[Footprint, int], bool],
) -> list[Bundle]:
    """Pieces of one name and size, as many together as may be."""
    groups: dict[tuple[str, Footprint, int], list[Ware]] = {}
    for ware in filter(is_one, slip):
        groups.setdefault((ware.name, ware.footprint, ware.height_mm), []).append(ware)
    bundles = []
    fewest, most = sizes
    for waiting in groups.values():
        while len(waiting) >= fewest:
            made = (Bundle(kind, tuple(waiting[:count])) for count in range(most, fewest - 1, -1))
            fitting = (
                one
                for one in made
                if len(one.members) >= 2 and may_stand(one.footprint, one.height_mm)
            )
            bundle = next(fitting, None)
            if bundle is None:
                break
            bundles.append(bundle)
            del waiting[: len(bundle.members)]
    return bundles


def _lidded(slip: Sequence[Ware], may_stand: Callable[[Footprint, int], bool]) -> list[Bundle]:
    """Each lid on the narrowest jar that carries it and has none yet."""
    bundles: list[Bundle] = []
    jars = sorted((ware for ware in slip if _is_called(ware, "jar")), key=_across_mm)
    lids = sorted((ware for ware in slip if _is_called(ware, "lid")), key=_across_mm)
    for lid in lids:
        for jar in jars:
            bundle = Bundle(BundleKind.LID, (jar, lid))
            if _carries(jar, lid) and may_stand(bundle.footprint, bundle.height_mm):
                bundles.append(bundle)
                jars.remove(jar)
                break
    return bundles


def _carries(jar: Ware, lid: Ware) -> bool:
    is_round = isinstance(jar.footprint, Disc) and isinstance(lid.footprint, Disc)
    return is_round and _across_mm(lid) <= _across_mm(jar)


def _across_mm(ware: Ware) -> int:
    footprint = ware.footprint
    return footprint.diameter_mm if isinstance(footprint, Disc) else footprint.width_mm


def _is_bowl(ware: Ware) -> bool:
    """Open ware: round and at least as wide as high."""
    is_open = isinstance(ware.footprint, Disc) and ware.footprint.diameter_mm >= ware.height_mm
    return _is_called(ware, "bowl") and is_open


def _is_tile(ware: Ware) -> bool:
    is_flat = isinstance(ware.footprint, Rectangle) and ware.height_mm <= TILE_THICK_AT_MOST_MM
    return _is_called(ware, "tile") and is_flat


def _is_called(ware: Ware, word: str) -> bool:
    """Whether a word of its name is this one, or the plural; a jar lid is a lid and no jar."""
    words = [one.strip(",.()").removesuffix("s") for one in ware.name.lower().split()]
    return word in words and not (word != "lid" and "lid" in words)
