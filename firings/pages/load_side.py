"""The kiln from its front, and what stands on a shelf by itself. Sizes in mm."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from firings.actions.kiln_space import footprint_of
from firings.actions.load_ware import written_bundles
from firings.calculations.bisque_bundles import Bundle, BundleKind
from firings.calculations.footprints import Footprint
from firings.calculations.kiln_space import Stack
from firings.calculations.load_plan import QUARTERS as QUARTERS_OF_A_SHELF
from firings.models import Kiln, Layer, Placement
from firings.pages.load_shapes import half_width_mm, quarter_middle

MARGIN_MM = 12
LABEL_ROOM_MM = 50


@dataclass(frozen=True)
class OnShelf:
    """What stands on a shelf by itself: a piece, a bundle of bisque ware or a booked part.

    `with_it` says what else is in, on or beside it.
    """

    placement: Placement
    footprint: Footprint | None
    height_mm: int
    with_it: str


def standing_on(layer: Layer) -> list[OnShelf]:
    """Everything on a layer but what rides on another piece. Prefetch placements with pieces."""
    placements = list(layer.placements.all())
    bundles = {int(bundle.id): bundle for bundle in written_bundles(placements)}
    return [
        _on_shelf(put, bundles.get(put.piece_id)) for put in placements if not put.carried_by_id
    ]


def _on_shelf(put: Placement, bundle: Bundle | None) -> OnShelf:
    if bundle is None:
        return OnShelf(put, footprint_of(put.piece), put.piece.height_mm, "")
    more = len(bundle.rider_ids)
    words = {
        BundleKind.NEST: f", {more} more in it",
        BundleKind.LID: ", its lid on it",
        BundleKind.EDGE: f", on edge in a row with {more} more",
    }
    return OnShelf(put, bundle.footprint, bundle.height_mm, words[bundle.kind])


@dataclass(frozen=True)
class Block:
    """A rectangle of the side view, in mm of the picture."""

    kind: str
    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True)
class SideLabel:
    """The number of a layer, beside the chamber."""

    x: float
    y: float
    text: str


@dataclass(frozen=True)
class StackDrawing:
    view_box: str
    blocks: tuple[Block, ...]
    labels: tuple[SideLabel, ...]


def draw_side(kiln: Kiln, layers: Sequence[Layer], stacks: dict[int, Stack]) -> StackDrawing:
    """The chamber seen from its front: floor below, posts, shelves, and ware as blocks."""
    across, height = kiln.chamber_across_mm, kiln.chamber_height_mm
    blocks = [Block("chamber", -across / 2, 0, across, height)]
    labels = []
    for layer in layers:
        stack = stacks[layer.pk]
        blocks += _side_of_layer(layer, stack, height, kiln.post_width_mm)
        outside = -1 if layer.stack == "left" else 1
        shelf_y = height - layer.shelf_bottom_mm - stack.shelf.thickness_mm / 2
        x = outside * (across / 2 + LABEL_ROOM_MM / 2)
        labels.append(SideLabel(x, shelf_y, str(layer.position)))
    left, width = -across / 2 - LABEL_ROOM_MM, across + 2 * LABEL_ROOM_MM
    box = f"{left:.0f} {-MARGIN_MM} {width:.0f} {height + 2 * MARGIN_MM}"
    return StackDrawing(box, tuple(blocks), tuple(labels))


def _side_of_layer(layer: Layer, stack: Stack, height: int, post_width_mm: int) -> list[Block]:
    left, _, right, _ = stack.shelf.bounds_mm
    under_y = height - layer.shelf_bottom_mm
    top_y = under_y - stack.shelf.thickness_mm
    posts_mm = sum(layer.posts_mm)
    blocks = [
        Block("post", x_mm - post_width_mm / 2, under_y, post_width_mm, posts_mm)
        for x_mm in sorted({x for x, _ in stack.post_places_mm})
    ]
    blocks += [_side_of_piece(one, stack, top_y) for one in standing_on(layer)]
    thickness = stack.shelf.thickness_mm
    return [*blocks, Block("shelf", left, top_y, right - left, thickness)]


def _side_of_piece(one: OnShelf, stack: Stack, top_y: float) -> Block:
    placement, footprint = one.placement, one.footprint
    if footprint is None or placement.x_mm is None:
        left, _, right, _ = stack.shelf.bounds_mm
        middle, _ = quarter_middle(stack.shelf, placement.quadrants)
        half = (right - left) / (2 if len(placement.quadrants) == QUARTERS_OF_A_SHELF else 4)
    else:
        middle, half = placement.x_mm, half_width_mm(footprint, placement.turn_deg)
    return Block(
        "piece", round(middle - half, 1), top_y - one.height_mm, round(2 * half, 1),
        one.height_mm,
    )  # fmt: skip
