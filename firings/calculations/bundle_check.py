"""Whether bundled pieces can stand as their bundle says. Part of the check of a plan.

Written apart from `bisque_bundles`: from the sizes of the members alone. Lengths are mm.
"""

import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence

from firings.calculations.bisque_bundles import Bundle, BundleKind, Ware
from firings.calculations.footprints import Disc, Footprint, Rectangle, area_mm2
from firings.calculations.load_plan import LoadPiece
from firings.calculations.plan_geometry import Names


def bundle_faults(
    pieces: Mapping[str, LoadPiece], bundles: Sequence[Bundle], named: Names
) -> Iterator[str]:
    """One sentence for each bundle that is not what it says, or smaller than its members."""
    counted = Counter(ware.id for bundle in bundles for ware in bundle.members)
    for piece_id, count in counted.items():
        if count > 1:
            yield f"{named[piece_id]} is in {count} bundles."
    for bundle in bundles:
        carrier = pieces.get(bundle.id)
        for ware in bundle.members[1:]:
            if ware.id in pieces:
                yield f"{named[ware.id]} stands in a bundle and cannot stand by itself too."
        if carrier is None or carrier.footprint is None:
            continue
        yield from _faults_of(bundle, carrier, carrier.footprint, named)


def _faults_of(
    bundle: Bundle, planned: LoadPiece, footprint: Footprint, named: Names
) -> Iterator[str]:
    first, *others = bundle.members
    if bundle.kind == BundleKind.EDGE:
        yield from _row_faults(bundle.members, planned, footprint, named)
        return
    if area_mm2(footprint) < area_mm2(first.footprint):
        yield f"{named[first.id]} is planned smaller than it is."
    needed_mm = first.height_mm
    for ware in others:
        if _reach_mm(ware.footprint) > _reach_mm(first.footprint):
            yield f"{named[ware.id]} is wider than {named[first.id]}, which carries it."
        if bundle.kind == BundleKind.NEST:
            if (ware.footprint, ware.height_mm) != (first.footprint, first.height_mm):
                yield f"{named[ware.id]} is not like {named[first.id]} and does not nest in it."
            needed_mm += max(15, -(-ware.height_mm // 3))
        else:
            needed_mm += ware.height_mm
    if planned.height_mm < needed_mm:
        yield (
            f"{named[first.id]} and what stands in or on it are {needed_mm} mm high; "
            f"{planned.height_mm} mm are planned."
        )


def _row_faults(
    tiles: Sequence[Ware], planned: LoadPiece, footprint: Footprint, named: Names
) -> Iterator[str]:
    name = named[tiles[0].id]
    flat = [ware.footprint for ware in tiles if isinstance(ware.footprint, Rectangle)]
    if len(flat) < len(tiles) or not isinstance(footprint, Rectangle):
        yield f"{name} is in a row on edge with ware that is no tile."
        return
    long_mm = max(max(one.width_mm, one.depth_mm) for one in flat)
    high_mm = max(min(one.width_mm, one.depth_mm) for one in flat)
    row_mm = sum(ware.height_mm for ware in tiles)
    have_mm = sorted((footprint.width_mm, footprint.depth_mm))
    if have_mm[0] < min(long_mm, row_mm) or have_mm[1] < max(long_mm, row_mm):
        yield f"The row of tiles at {name} needs {long_mm} by {row_mm} mm."
    if planned.height_mm < high_mm:
        yield f"The tiles at {name} stand {high_mm} mm high; {planned.height_mm} mm are planned."


def _reach_mm(footprint: Footprint) -> float:
    """From its middle to its farthest point."""
    if isinstance(footprint, Disc):
        return footprint.diameter_mm / 2
    return math.hypot(footprint.width_mm, footprint.depth_mm) / 2
