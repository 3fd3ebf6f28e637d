"""Fits or not: whether some pieces go into one load, keeping the present plan as far as it goes.

This stands behind every booking on an announced firing, so it is quick for a small change: what
the present plan has placed stays, the new pieces go into its gaps, or onto a shelf of it put down
anew; if that fails, ruin and recreate repairs it for a fixed amount of work, counted in questions
to the shelf books. Without a present plan the load is built anew, in several ways. The same
question gives the same answer. A yes is a plan; a no says only that none was found.
"""

from collections.abc import Sequence
from itertools import islice
from random import Random

from firings.calculations.footprints import check_gap_mm
from firings.calculations.kiln_space import KilnSpace
from firings.calculations.load_plan import LoadPiece, LoadPlan, Placement, PlannedLayer
from firings.calculations.planning.anneal import Cooling, plain_mood, recreate_all, steps
from firings.calculations.planning.bounds import needs_more_than_one_firing
from firings.calculations.planning.left_out import FIXED_SEED
from firings.calculations.planning.patterns import Pattern, Spot
from firings.calculations.planning.places import is_free
from firings.calculations.planning.preparing import (
    Prepared,
    as_queue_pieces,
    is_swapped,
    never_goes_in,
    prepare,
)
from firings.calculations.planning.problem import Held, QueuePiece
from firings.calculations.planning.recreate import Loads, missing_packs
from firings.calculations.planning.towers import (
    Column,
    Item,
    Layer,
    Load,
    Tower,
    items_in,
)
from firings.calculations.planning.written import written_layers

COOLING = Cooling(0.4, 0.05, 60)
# A present place may have been rounded; less than half of what the check of a plan forgives.
KEPT_MM = 0.004
# Steps are counted too: a kiln of which everything is known asks nothing.
MOST_STEPS = 120
# Questions to the shelf books that a repair and a building anew may take: a tenth of a millisecond
# each, more or less. `KEPT_REPACKS`: how many of them go into single shelves first.
REPAIR_QUESTIONS, ANEW_QUESTIONS, KEPT_REPACKS = 170, 5_000, 90


def fits(
    space: KilnSpace,
    pieces: Sequence[LoadPiece | QueuePiece],
    gap_mm: float,
    cone_pack_layers: int = 1,
    *,
    present: LoadPlan | None = None,
    held: Held | None = None,
) -> LoadPlan | None:
    """A load with every one of the pieces and all its cone packs, or None when none was found.

    `present`: the plan so far. Pieces of it that are still asked for stay where they are if that
    can be; the others leave. Raises ValueError for input that cannot be, naming it.
    """
    check_gap_mm("gap_mm", gap_mm)
    if cone_pack_layers < 0:
        raise ValueError(f"cone_pack_layers must be 0 or more, got {cone_pack_layers}")
    asked = as_queue_pieces(pieces)
    if len({piece.id for piece in asked}) < len(asked):
        raise ValueError("pieces must have different ids")
    held = held or Held()
    barred = [piece for piece in asked if piece.id in held.forbidden and piece.id]
    if barred or any(never_goes_in(space, piece) for piece in asked):
        return None
    prepared = prepare(space, asked, gap_mm, held=held, cone_pack_layers=cone_pack_layers)
    if not _could_fit(prepared):
        return None
    if present is not None:
        found = _mended(prepared, _kept(prepared, present), REPAIR_QUESTIONS)
    else:
        found = _built(prepared)
    return None if found is None else LoadPlan(written_layers(prepared, found, present), ())


def _built(prepared: Prepared) -> Load | None:
    """A load put together from nothing, tallest first, bulkiest first, widest first."""
    starts = [_anew(prepared, order) for order in (0, 1, 2)]
    for state in starts:
        if _is_whole(prepared, state):
            return state.loads[0]
    pieces = [prepared.pieces[item.id] for item in prepared.items]
    if needs_more_than_one_firing(prepared.space, pieces, prepared.gap_mm):
        return None
    nearest = min(starts, key=lambda state: sum(item.bulk for item in state.bank))
    return _mended(prepared, nearest, ANEW_QUESTIONS)


def _could_fit(prepared: Prepared) -> bool:
    """A cheap bound: footprints against all shelves."""
    shelves = sum(
        column.stack.shelf.area_mm2 * column.most_layers for column in prepared.make.columns
    )
    return sum(item.shape.area_mm2 for item in prepared.items) <= shelves


def _anew(prepared: Prepared, order: int) -> Loads:
    state = prepared.new_state(1)
    mood = plain_mood(order, Random(FIXED_SEED))  # noqa: S311
    recreate_all(state, prepared.make, prepared.items, mood)
    state.bank += prepared.make.settle_packs(state, Random(FIXED_SEED))  # noqa: S311
    return state


def _mended(prepared: Prepared, state: Loads, most_questions: int) -> Load | None:
    """The load once its bank is empty, after so many questions at most; or None."""
    if _is_whole(prepared, state):
        return state.loads[0]
    columns = prepared.make.columns
    enough = most_questions + sum(column.questions for column in columns)
    running = steps(
        state,
        prepared.make,
        lambda loads: sum(item.bulk for item in loads.bank) / _mean_bulk(prepared),
        COOLING,
        Random(FIXED_SEED),  # noqa: S311
    )
    for after, _ in islice(running, MOST_STEPS):
        if _is_whole(prepared, after):
            return after.loads[0]
        if sum(column.questions for column in columns) >= enough:
            break
    return None


def _is_whole(prepared: Prepared, state: Loads) -> bool:
    """Whether everything is in, and the cones too."""
    return not state.bank and not missing_packs(state.loads[0], prepared.make.packs_wanted)


def _mean_bulk(prepared: Prepared) -> float:
    return sum(item.bulk for item in prepared.items) / max(1, len(prepared.items))


# ---- the present plan as the search sees it


def _kept(prepared: Prepared, present: LoadPlan) -> Loads:
    """The present plan with what is still asked for, and the new pieces in its gaps."""
    items = {item.id: item for item in prepared.items}
    load = tuple(_kept_tower(prepared, column, present, items) for column in prepared.make.columns)
    inside = {item.number for item in items_in(load)}
    split = {item.unit for item in prepared.items if item.number not in inside}
    state = Loads([load])
    torn = {item.number for item in items_in(load) if item.unit in split}
    if torn:
        prepared.make.take_out(state, 0, torn)
        inside -= torn
    new = [item for item in prepared.items if item.number not in inside]
    mood = plain_mood(1, Random(FIXED_SEED))  # noqa: S311
    recreate_all(state, prepared.make, new, mood, KEPT_REPACKS)
    state.bank += prepared.make.settle_packs(state, Random(FIXED_SEED))  # noqa: S311
    return state


def _kept_tower(
    prepared: Prepared, column: Column, present: LoadPlan, items: dict[str, Item]
) -> Tower:
    planned = sorted(
        (layer for layer in present.layers if layer.stack == column.stack.name),
        key=lambda layer: layer.index,
    )
    start = column.start()
    layers: list[Layer] = []
    for number, old in enumerate(planned[: column.most_layers]):
        site = column.held[number] if number < len(column.held) else column.free
        is_top = number == len(planned) - 1
        book = site.topmost if is_top else site.carrying
        layer = _kept_layer(prepared, Layer(site, book.empty, (), False), old, items)
        if layer.items or site.is_held:
            layers.append(layer)
    layers += start.layers[len(layers) :]
    if layers:
        top = layers[-1].on(layers[-1].site.topmost)
        layers[-1] = top if top is not None else layers[-1]
    tower = Tower(column, tuple(layers))
    return tower if tower.slack_mm >= 0 else start


def _kept_layer(
    prepared: Prepared, layer: Layer, old: PlannedLayer, items: dict[str, Item]
) -> Layer:
    """The old layer's pieces that still stand well; anything else is put in afresh later."""
    for piece_id, quarters in old.fractions:
        item = items.get(piece_id)
        if item is not None and item.shape.quarters == len(quarters):
            pattern = layer.pattern.plus(item.shape)
            layer = layer.plus(item, pattern) if pattern is not None else layer
    for put in old.placements:
        item = items.get(put.piece_id)
        spot = None if item is None else _spot(prepared, layer.pattern, item, put)
        if item is not None and spot is not None:
            layer = layer.plus(item, layer.pattern.standing_with(spot))
    if old.cone_pack is not None and prepared.make.pack_shape and not layer.has_pack:
        pattern = layer.pattern.plus(prepared.make.pack_shape)
        if pattern is not None:
            layer = Layer(layer.site, pattern, layer.items, True)
    return layer


def _spot(prepared: Prepared, pattern: Pattern, item: Item, put: Placement) -> Spot | None:
    """Where a piece stands, as a spot of the pattern, if it stands clear there."""
    turn = put.turn_deg + (90 if is_swapped(prepared.pieces[item.id]) else 0)
    turn = 0 if len(item.shape.bodies) < 2 else turn % 180
    body = next((body for body, own in item.shape.bodies if own == turn), None)
    if body is None:
        return None
    book = pattern.book
    if not is_free(book.room(body), pattern.things, put.x_mm, put.y_mm, KEPT_MM):
        return None
    return book.spot(item.shape, put.x_mm, put.y_mm, body, int(turn))
