"""The picture of a load: each layer to scale from above, and the stack from the front."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from firings.actions.kiln_space import footprint_of, stacks_of
from firings.actions.load_ware import written_bundles
from firings.calculations.bisque_bundles import Bundle
from firings.calculations.footprints import Footprint, charged_area_mm2
from firings.calculations.kiln_space import Stack
from firings.calculations.load_plan import CONE_PACK
from firings.calculations.load_plan import QUARTERS as QUARTERS_OF_A_SHELF
from firings.models import (
    Booking,
    Firing,
    FiringPolicy,
    Kiln,
    Layer,
    LayerHold,
    Piece,
    Placement,
)
from firings.pages.load_shapes import (
    QUARTER_WORDS,
    circle_path,
    footprint_path,
    half_width_mm,
    place_words,
    quarter_middle,
    quarter_path,
    rectangle_path,
    shelf_path,
)

MARGIN_MM = 12
LABEL_ROOM_MM = 50
LABEL_MM = (11.0, 30.0)


@dataclass(frozen=True)
class Thing:
    """Something on a shelf: its outlines, and a label in its middle. Sizes in mm.

    `y_mm` counts downwards, as pictures do. `piece` is the piece's number, None for what is no
    ware; `lock_mm` is where the mark of a locked piece stands above its label.
    """

    kind: str
    paths: tuple[str, ...]
    label: str
    x_mm: float
    y_mm: float
    label_mm: float
    title: str
    piece: int | None = None
    is_locked: bool = False

    @property
    def lock_y_mm(self) -> float:
        """Where the padlock stands: above the label."""
        return round(self.y_mm - self.label_mm * 1.15, 1)

    @property
    def spoken(self) -> str:
        """What a screen reader says of it."""
        return f"{self.title}, locked" if self.is_locked else self.title


@dataclass(frozen=True)
class Line:
    """One row of the table beside a picture."""

    booking: Booking
    piece: Piece
    place: str
    is_carried: bool = False


@dataclass(frozen=True)
class OnShelf:
    """What stands on a shelf by itself: a piece, a bundle of bisque ware or a booked part."""

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
    words = f", with {len(bundle.rider_ids)} more in or on it"
    return OnShelf(put, bundle.footprint, bundle.height_mm, words)


@dataclass(frozen=True)
class LayerDrawing:
    layer: Layer
    title: str
    view_box: str
    shelf: str
    things: tuple[Thing, ...]
    lines: tuple[Line, ...]
    tallest_mm: int
    fill_percent: int
    is_locked: bool
    rooms: tuple[dict[str, float], ...]
    free_mm: int
    has_set_height: bool

    @property
    def key(self) -> str:
        """What forms call this layer."""
        return f"{self.layer.stack}:{self.layer.position}"


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


@dataclass(frozen=True)
class LoadDrawing:
    layers: tuple[LayerDrawing, ...]
    side: StackDrawing | None
    fill_percent: int


def draw_load(firing: Firing) -> LoadDrawing:
    """The load as it is written down; a few queries, however much is in it."""
    layers = list(
        firing.layers.select_related("shelf_set").prefetch_related(
            "placements__piece__booking__member", "placements__carried_by"
        )
    )
    policy = FiringPolicy.current()
    gap_mm = policy.gap_mm(firing.stage)
    holds = {(hold.stack, hold.position): hold for hold in firing.holds.all()}
    stacks = {layer.pk: _stack_of(layer, firing.kiln) for layer in layers}
    drawn = tuple(
        _draw_layer(layer, stacks[layer.pk], layers, policy, firing, holds) for layer in layers
    )
    usable_mm2 = sum(stack.shelf.area_mm2 for stack in stacks.values())
    taken_mm2 = sum(_taken_mm2(layer, stacks[layer.pk], gap_mm) for layer in layers)
    return LoadDrawing(
        layers=drawn,
        side=_draw_side(firing.kiln, layers, stacks) if layers else None,
        fill_percent=round(100 * taken_mm2 / usable_mm2) if usable_mm2 else 0,
    )


def _stack_of(layer: Layer, kiln: Kiln) -> Stack:
    stacks = stacks_of(layer.shelf_set, kiln.post_width_mm)
    return next((stack for stack in stacks if stack.name == layer.stack), stacks[0])


def layer_title(layer: Layer) -> str:
    """Layer 2, and of half shelves the side they lie on."""
    side = "" if layer.stack == "whole" else f", {layer.stack}"
    return f"Layer {layer.position}{side}"


def _draw_layer(
    layer: Layer,
    stack: Stack,
    layers: Sequence[Layer],
    policy: FiringPolicy,
    firing: Firing,
    holds: dict[tuple[str, int], LayerHold],
) -> LayerDrawing:
    kiln, gap_mm = firing.kiln, policy.gap_mm(firing.stage)
    placements = list(layer.placements.all())
    on_shelf = standing_on(layer)
    hold = holds.get((layer.stack, layer.position))
    above_hold = holds.get((layer.stack, layer.position + 1))
    above = next(
        (la for la in layers if (la.stack, la.position) == (layer.stack, layer.position + 1)), None
    )
    rooms = tuple(hold.keep_free) if hold else ()
    things = [_draw_room(room) for room in rooms]
    things += [_draw_piece(one, stack) for one in on_shelf]
    if above:
        things += [_draw_post(place, kiln.post_width_mm) for place in stack.post_places_mm]
    if layer.cone_pack:
        things.append(_draw_cone_pack(layer.cone_pack))
    left, front, right, back = stack.shelf.bounds_mm
    width, depth = right - left + 2 * MARGIN_MM, back - front + 2 * MARGIN_MM
    ceiling_mm = above.shelf_bottom_mm if above else kiln.chamber_height_mm
    top_mm = layer.shelf_bottom_mm + stack.shelf.thickness_mm
    return LayerDrawing(
        layer=layer,
        title=layer_title(layer),
        view_box=f"{left - MARGIN_MM:.0f} {-back - MARGIN_MM:.0f} {width:.0f} {depth:.0f}",
        shelf=shelf_path(stack.shelf),
        things=tuple(things),
        lines=tuple(_line(placement, stack) for placement in placements),
        tallest_mm=max((one.height_mm for one in on_shelf), default=0),
        fill_percent=round(100 * _taken_mm2(layer, stack, gap_mm) / stack.shelf.area_mm2),
        is_locked=bool(hold and hold.is_whole),
        rooms=rooms,
        free_mm=max(0, ceiling_mm - top_mm - policy.gap_above_mm),
        has_set_height=bool(above_hold and above_hold.posts_mm),
    )


def _draw_room(room: dict[str, float]) -> Thing:
    """Room that crew keep free."""
    path = rectangle_path(
        room["x_mm"], room["y_mm"], room["width_mm"], room["depth_mm"], room.get("turn_deg", 0)
    )
    return Thing("room", (path,), "free", room["x_mm"], -room["y_mm"], 14, "room kept free")


def _draw_piece(one: OnShelf, stack: Stack) -> Thing:
    placement, footprint = one.placement, one.footprint
    piece = placement.piece
    slip = piece.booking.slip
    title = f"{slip}: {piece.name}{one.with_it}"
    if footprint is None or placement.x_mm is None or placement.y_mm is None:
        paths = tuple(quarter_path(stack.shelf, quarter) for quarter in placement.quadrants)
        x_mm, y_mm = quarter_middle(stack.shelf, placement.quadrants)
        locked = placement.is_locked
        return Thing("quarter", paths, slip, x_mm, -y_mm, LABEL_MM[1], title, piece.pk, locked)
    x_mm, y_mm, turn_deg = placement.x_mm, placement.y_mm, placement.turn_deg
    path = footprint_path(footprint, x_mm, y_mm, turn_deg)
    return Thing(
        kind="piece",
        paths=(path,),
        label=slip,
        x_mm=x_mm,
        y_mm=-y_mm,
        label_mm=_label_mm(footprint, turn_deg),
        title=title,
        piece=piece.pk,
        is_locked=placement.is_locked,
    )


def _label_mm(footprint: Footprint, turn_deg: float) -> float:
    """A slip code is about four letters' heights wide: as large as its piece allows."""
    room_mm = 2 * half_width_mm(footprint, turn_deg) / 4.2
    return round(min(max(room_mm, LABEL_MM[0]), LABEL_MM[1]), 1)


def _draw_post(place: tuple[float, float], width_mm: int) -> Thing:
    x_mm, y_mm = place
    path = circle_path(x_mm, y_mm, width_mm / 2)  # as the planner keeps ware clear of it
    return Thing("post", (path,), "", x_mm, -y_mm, LABEL_MM[0], "post")


def _draw_cone_pack(pack: Sequence[float]) -> Thing:
    x_mm, y_mm, turn_deg = pack
    path = rectangle_path(x_mm, y_mm, CONE_PACK.width_mm, CONE_PACK.depth_mm, turn_deg)
    return Thing("cones", (path,), "cones", x_mm, -y_mm, 18, "witness cones")


def _line(placement: Placement, stack: Stack) -> Line:
    piece = placement.piece
    if placement.carried_by:
        name = placement.carried_by.name
        return Line(piece.booking, piece, f"{placement.get_stands_display()} ({name})", True)
    if placement.x_mm is None or placement.y_mm is None:
        quarters = [QUARTER_WORDS[quarter] for quarter in placement.quadrants]
        is_whole = len(quarters) == QUARTERS_OF_A_SHELF
        place = "the whole shelf" if is_whole else "quarters: " + ", ".join(quarters)
    else:
        place = place_words(stack.shelf, placement.x_mm, placement.y_mm)
    return Line(piece.booking, piece, place)


def _taken_mm2(layer: Layer, stack: Stack, gap_mm: int) -> int:
    """What stands on a layer, with half the spacing all round; a bundle counts once."""
    taken = 0
    for one in standing_on(layer):
        if one.footprint is None:
            quarters = len(one.placement.quadrants)
            taken += stack.shelf.area_mm2 * quarters // QUARTERS_OF_A_SHELF
        else:
            taken += charged_area_mm2(one.footprint, gap_mm)
    return taken


def _draw_side(kiln: Kiln, layers: Sequence[Layer], stacks: dict[int, Stack]) -> StackDrawing:
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
