"""The yardstick for a squeezed shelf: pieces placed one by one, none moved again.

Widest first; each piece where it stands snuggest (nearest to what is already there and to the
edge), of all places on a grid of 3 mm that keep the spacing. Simple and slow, with geometry of its
own.
"""

import numpy as np

from firings.calculations.footprints import Disc, Footprint
from firings.calculations.load_plan import Placement
from firings.calculations.planning.region import Region

STEP_MM = 3.0


def placed_one_by_one(
    region: Region, pieces: dict[str, Footprint], gap_mm: float
) -> tuple[Placement, ...] | None:
    """All pieces on the shelf, or None when one of them finds no place."""
    left, front, right, back = region.bounds_mm
    grid = np.meshgrid(np.arange(left, right, STEP_MM), np.arange(front, back, STEP_MM))
    x, y = grid[0].ravel(), grid[1].ravel()
    things = [(post.x_mm, post.y_mm, 0.0, 0.0, post.radius_mm) for post in region.posts]
    placements = []
    for piece_id in sorted(pieces, key=lambda piece_id: (-_reach(pieces[piece_id]), piece_id)):
        best = None
        for turn, (across, along, radius) in enumerate(_ways(pieces[piece_id])):
            spare = _to_edge(region, x, y, across, along) - radius
            for tx, ty, wide, deep, reach in things:
                out_x = np.maximum(np.abs(x - tx) - across - wide, 0)
                out_y = np.maximum(np.abs(y - ty) - along - deep, 0)
                spare = np.minimum(spare, np.hypot(out_x, out_y) - radius - reach)
            free = np.where(spare >= 0, spare + 1e-3 * (y - front) / (back - front), np.inf)
            place = int(free.argmin())
            if free[place] < np.inf and (best is None or free[place] < best[0]):
                best = (free[place], place, turn, (across, along, radius + gap_mm))
        if best is None:
            return None
        _, place, turn, sizes = best
        things.append((float(x[place]), float(y[place]), *sizes))
        placements.append(Placement(piece_id, float(x[place]), float(y[place]), 90 * turn))
    return tuple(placements)


def _reach(footprint: Footprint) -> float:
    if isinstance(footprint, Disc):
        return footprint.diameter_mm
    return float(np.hypot(footprint.width_mm, footprint.depth_mm))


def _ways(footprint: Footprint) -> list[tuple[float, float, float]]:
    if isinstance(footprint, Disc):
        return [(0.0, 0.0, footprint.diameter_mm / 2)]
    across, along = footprint.width_mm / 2, footprint.depth_mm / 2
    return [(across, along, 0.0), (along, across, 0.0)]


def _to_edge(region, x, y, across, along):
    """How much room the farthest corner has to the edge."""
    spare = np.full(len(x), np.inf)
    for circle in region.outline.circles:
        far_x = np.abs(x - circle.x_mm) + across
        far_y = np.abs(y - circle.y_mm) + along
        spare = np.minimum(spare, circle.radius_mm - np.hypot(far_x, far_y))
    for edge in region.outline.edges:
        reach = edge.normal_x * x + edge.normal_y * y
        reach = reach + abs(edge.normal_x) * across + abs(edge.normal_y) * along
        spare = np.minimum(spare, edge.reach_mm - reach)
    return spare
