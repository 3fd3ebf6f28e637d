"""Where ware may stand on one shelf: an outline, less the discs around the posts it carries."""

from dataclasses import dataclass

from firings.calculations.kiln_space import KilnSpace, Stack
from firings.calculations.outlines import Bounds, Circle, Outline


@dataclass(frozen=True, slots=True)
class Region:
    """One shelf as the search sees it.

    `outline`: the shelf within the chamber shrunk by the distance to the wall, as circles and
    edges that ware must lie inside of. `posts`: discs that no ware may overlap, each a post grown
    by the spacing to posts. `bounds_mm`: left, front, right and back of the shelf.
    """

    outline: Outline
    posts: tuple[Circle, ...]
    bounds_mm: Bounds
    area_mm2: int


def shelf_region(space: KilnSpace, stack: Stack, carries: bool) -> Region:
    """A shelf of this tower; one that `carries` another has its posts standing on it."""
    reach_mm = space.post_width_mm / 2 + space.gap_to_posts_mm
    posts = tuple(Circle(x, y, reach_mm) for x, y in stack.post_places_mm) if carries else ()
    return Region(space.ware_outline(stack), posts, stack.shelf.bounds_mm, stack.shelf.area_mm2)
