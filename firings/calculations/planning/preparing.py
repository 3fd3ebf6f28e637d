"""From pieces to what the search works on: shapes, items, groups, columns and the recreator."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from firings.calculations.footprints import Footprint, Rectangle
from firings.calculations.kiln_space import KilnSpace, check_footprint_fits
from firings.calculations.load_plan import CONE_PACK, LoadPiece
from firings.calculations.planning.columns import columns_for
from firings.calculations.planning.patterns import Shape, quarters_shape, shape_of
from firings.calculations.planning.problem import Held, QueuePiece
from firings.calculations.planning.recreate import Loads, Recreator
from firings.calculations.planning.towers import CONE_NUMBER, Item


@dataclass(frozen=True, slots=True)
class Prepared:
    """A search made ready. `pieces` by id; `items` by number, without locked and barred pieces."""

    space: KilnSpace
    gap_mm: float
    held: Held
    pieces: Mapping[str, QueuePiece]
    make: Recreator
    items: tuple[Item, ...]

    @property
    def units(self) -> Sequence[tuple[Item, ...]]:
        return self.make.units

    def new_state(self, loads: int = 0) -> Loads:
        return Loads([self.make.empty_load() for _ in range(loads)], [])


def prepare(
    space: KilnSpace,
    pieces: Iterable[QueuePiece],
    gap_mm: float,
    *,
    held: Held | None = None,
    cone_pack_layers: int = 0,
) -> Prepared:
    """Make a search ready for pieces of one stage and cone; what can never go in has no item."""
    held = held or Held()
    by_id = {piece.id: piece for piece in pieces}
    load_pieces = {piece.id: piece.as_load_piece() for piece in by_id.values()}
    columns = columns_for(space, gap_mm, held, load_pieces)
    for column in columns:
        if column.start().slack_mm < 0:
            raise ValueError(
                f"held asks for shelves of {column.stack.name} that cannot stand: "
                "posts too low for what is locked between them, or too high for the chamber"
            )
    items = _items(space, by_id.values(), held)
    shelf_mm2 = sum(stack.shelf.area_mm2 for stack in space.stacks) / len(space.stacks)
    make = Recreator(
        columns,
        _units(items),
        shelf_mm2,
        pack_shape=shape_of(CONE_NUMBER, CONE_PACK) if cone_pack_layers else None,
        packs_wanted=cone_pack_layers,
    )
    return Prepared(space, gap_mm, held, by_id, make, tuple(items))


def never_goes_in(space: KilnSpace, piece: QueuePiece | LoadPiece) -> bool:
    return bool(check_footprint_fits(space, piece.footprint, piece.height_mm))


def _items(space: KilnSpace, pieces: Iterable[QueuePiece], held: Held) -> list[Item]:
    shapes: dict[object, Shape] = {}
    numbers: dict[str, int] = {}
    items: list[Item] = []
    thickness = min(stack.shelf.thickness_mm for stack in space.stacks)
    barred_groups = {
        piece.group for piece in pieces if piece.group and _is_barred(space, piece, held)
    }
    for piece in sorted(pieces, key=lambda piece: (piece.booked_order, piece.id)):
        if _is_barred(space, piece, held) or (piece.group and piece.group in barred_groups):
            continue
        shape = _shape(space, piece, shapes)
        unit = numbers.setdefault(
            f"group {piece.group}" if piece.group else f"piece {piece.id}", len(numbers)
        )
        rise = thickness + piece.height_mm + space.gap_above_mm
        items.append(
            Item(
                len(items),
                piece.id,
                shape,
                piece.height_mm,
                unit,
                float(shape.area_mm2) * rise,
                piece.ready_on.toordinal(),
                piece.due_on.toordinal() if piece.due_on else None,
            )
        )
    return items


def _is_barred(space: KilnSpace, piece: QueuePiece, held: Held) -> bool:
    """Locked pieces stand already; forbidden and too big ones never will."""
    return piece.id in held.locked_ids or piece.id in held.forbidden or never_goes_in(space, piece)


def _shape(space: KilnSpace, piece: QueuePiece, shapes: dict[object, Shape]) -> Shape:
    """One shape for all pieces alike; a rectangle lies with its longer side along x."""
    footprint: Footprint | None = piece.footprint
    if isinstance(footprint, Rectangle):
        sides = sorted((footprint.width_mm, footprint.depth_mm))
        footprint = Rectangle(sides[1], sides[0])
    key = piece.fraction if footprint is None else footprint
    if key not in shapes:
        if footprint is None:
            least = min(stack.shelf.area_mm2 for stack in space.stacks)
            quarters = piece.as_load_piece().quarters
            shapes[key] = quarters_shape(len(shapes), quarters, least)
        else:
            shapes[key] = shape_of(len(shapes), footprint)
    return shapes[key]


def is_swapped(piece: QueuePiece) -> bool:
    """Whether a piece's own width lies along its shape's depth."""
    footprint = piece.footprint
    return isinstance(footprint, Rectangle) and footprint.width_mm < footprint.depth_mm


def _units(items: Sequence[Item]) -> tuple[tuple[Item, ...], ...]:
    units: dict[int, list[Item]] = {}
    for item in items:
        units.setdefault(item.unit, []).append(item)
    count = max(units, default=-1) + 1
    return tuple(
        tuple(sorted(units.get(number, ()), key=lambda item: (-item.height_mm, item.number)))
        for number in range(count)
    )


def as_queue_pieces(pieces: Sequence[LoadPiece | QueuePiece]) -> list[QueuePiece]:
    """Plain load pieces as pieces of one stage and cone, dry and due never."""
    day = date(2000, 1, 1)
    return [
        piece
        if isinstance(piece, QueuePiece)
        else QueuePiece(
            piece.id,
            "",
            "",
            "",
            piece.footprint,
            piece.height_mm,
            day,
            booked_order=piece.order,
            fraction=piece.fraction,
        )
        for piece in pieces
    ]
