"""Why a piece is not in a load, in the words that crew act on."""

from collections.abc import Iterable, Sequence
from datetime import date
from random import Random

from firings.calculations.kiln_space import check_footprint_fits
from firings.calculations.load_plan import LeftOut, WhyLeftOut
from firings.calculations.planning.preparing import Prepared
from firings.calculations.planning.problem import QueuePiece
from firings.calculations.planning.recreate import Loads
from firings.calculations.planning.towers import Item

# Any seed will do where nothing is drawn by chance.
FIXED_SEED = 0


def why_left_out(
    prepared: Prepared,
    left: Iterable[QueuePiece],
    *,
    on: date | None = None,
    firing: tuple[str, str] | None = None,
) -> tuple[LeftOut, ...]:
    """A reason for each piece in `left`, the first of these that holds.

    Too big for this kiln; of another stage or cone than `firing`; not dry `on` that day; forbidden
    by crew; too tall beside what is locked (what crew hold leaves nowhere of its height, though
    the kiln is high enough); no room for cones (alone it goes in, but no cone pack with it); its
    group has no room as a whole; no room.
    """
    items = {item.id: item for item in prepared.items}
    seen: dict[object, WhyLeftOut] = {}
    reasons = []
    for piece in left:
        limits = check_footprint_fits(prepared.space, piece.footprint, piece.height_mm)
        plain = _plain_reason(prepared, piece, on, firing)
        if limits:
            reasons.append(LeftOut(piece.id, WhyLeftOut.TOO_BIG, limits))
        elif plain is not None:
            reasons.append(LeftOut(piece.id, plain))
        else:
            item = items.get(piece.id)
            unit = prepared.units[item.unit] if item is not None else ()
            alike = tuple((one.shape.number, one.height_mm) for one in unit)
            if alike not in seen:
                seen[alike] = reason_of_room(prepared, unit)
            reasons.append(LeftOut(piece.id, seen[alike]))
    return tuple(reasons)


def _plain_reason(
    prepared: Prepared, piece: QueuePiece, on: date | None, firing: tuple[str, str] | None
) -> WhyLeftOut | None:
    if firing is not None and (piece.stage, piece.cone) != firing:
        return WhyLeftOut.WRONG_CONE
    if on is not None and piece.ready_on > on:
        return WhyLeftOut.NOT_DRY
    return WhyLeftOut.FORBIDDEN if piece.id in prepared.held.forbidden else None


def reason_of_room(prepared: Prepared, unit: Sequence[Item]) -> WhyLeftOut:
    """Which want of room keeps a unit out: tried alone beside what crew hold."""
    if not unit:  # another of its group can never go in
        return WhyLeftOut.GROUP_HAS_NO_ROOM
    if any(not _height_is_free(prepared, item) for item in unit):
        return WhyLeftOut.TOO_TALL_BESIDE_LOCKED
    state = prepared.new_state(1)
    fits = prepared.make.put(state, unit, Random(FIXED_SEED))  # noqa: S311
    if fits and prepared.make.settle_packs(state, Random(FIXED_SEED)):  # noqa: S311
        return WhyLeftOut.NO_ROOM_FOR_CONES
    return WhyLeftOut.GROUP_HAS_NO_ROOM if len(unit) > 1 else WhyLeftOut.NO_ROOM


def fits_alone(prepared: Prepared, unit: Sequence[Item]) -> bool:
    """Whether a unit, with the cone packs, goes into a load that holds nothing else."""
    make, random = prepared.make, Random(FIXED_SEED)  # noqa: S311
    state: Loads = prepared.new_state(1)
    return make.put(state, unit, random) and not make.settle_packs(state, random)


def _height_is_free(prepared: Prepared, item: Item) -> bool:
    """Whether some shelf beside what crew hold has the height for this item."""
    load = prepared.make.empty_load()
    return any(prepared.make.has_height(tower, item) for tower in load)
