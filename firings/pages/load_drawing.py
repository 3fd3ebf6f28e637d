"""The picture of a load: each layer to scale from above, and the stack from the front."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from firings.actions.kiln_space import stacks_of
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
from firings.pages.load_side import MARGIN_MM, OnShelf, StackDrawing, draw_side, standing_on

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
    carrier: Piece | None = None

    @property
    def picks(self) -> int:
        """The piece that is moved when this one is to move."""
        return self.carrier.pk if self.carrier else self.piece.pk


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
class LoadDrawing:
    layers: tuple[LayerDrawing, ...]
    side: StackDrawing | None
    fill_percent: int

    @property
    def has_bundles(self) -> bool:
        """Whether something stands in or on another piece, or on edge."""
        return any(line.carrier for layer in self.layers for line in layer.lines)


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
        side=draw_side(firing.kiln, layers, stacks) if layers else None,
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
        lines=tuple(_lines(placements, on_shelf, stack)),
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


def _lines(
    placements: Sequence[Placement], on_shelf: Sequence[OnShelf], stack: Stack
) -> Iterator[Line]:
    """Each piece, and after it what it carries."""
    for one in on_shelf:
        yield _line(one.placement, stack, one.with_it)
        for put in placements:
            if put.carried_by_id == one.placement.piece_id:
                yield _line(put, stack, "")


def _line(placement: Placement, stack: Stack, with_it: str) -> Line:
    piece = placement.piece
    if placement.carried_by:
        words = placement.get_stands_display()
        return Line(piece.booking, piece, words, placement.carried_by)
    if placement.x_mm is None or placement.y_mm is None:
        quarters = [QUARTER_WORDS[quarter] for quarter in placement.quadrants]
        is_whole = len(quarters) == QUARTERS_OF_A_SHELF
        place = "the whole shelf" if is_whole else "quarters: " + ", ".join(quarters)
    else:
        place = place_words(stack.shelf, placement.x_mm, placement.y_mm) + with_it
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
