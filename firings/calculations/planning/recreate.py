"""Ruin and recreate: take some ware out of some kilns, and put it back better.

The search holds a fixed number of loads and a bank of pieces that are in none of them. One step
takes the ware of a few shelves of like height out, or pieces that stand where a banked one would
like to stand, and puts everything back one by one, each where it costs the kiln least. A worse
outcome is kept with a chance that shrinks as the search cools. The pattern is ruin and recreate of
Schrimpf, Schneider, Stamm-Wilbrandt and Dueck, "Record breaking optimization results using the
ruin and recreate principle", J. Comp. Physics 159 (2000), with the absent pieces and the noise
("blinks") of Christiaens and Vanden Berghe, "Slack induction by string removals", Transportation
Science 54 (2020) (both from memory).

What a place costs. Height is what a kiln runs out of. A piece that goes onto a layer without
raising it costs nothing but the air wasted above it; one that raises a layer costs the step in
posts; a new layer costs its shelf and its posts. Footprint is not counted: whether there is room
is asked of the shelf book, in the order of cost, and the first yes is taken.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from random import Random

from firings.calculations.load_plan import CONE_PACK_HEIGHT_MM
from firings.calculations.planning.patterns import TRIES, Pattern, Shape
from firings.calculations.planning.towers import NEVER, Column, Item, Layer, Load, Tower, items_in

Penalty = Callable[[Item, int], float]
Ranking = Callable[[Sequence[Item], float, float], tuple[int, float]]


@dataclass
class Loads:
    """Some loads, the items in none of them, and what that costs."""

    loads: list[Load]
    bank: list[Item] = field(default_factory=list)

    def copy(self) -> "Loads":
        return Loads(list(self.loads), list(self.bank))


@dataclass
class Recreator:
    """Puts items into loads. `air_cost`: how much wasted air above a piece counts, in mm of height.

    `penalty(item, load index)`: what it costs, in mm of height, to have an item in this load
    (dates); infinity forbids it. `ranking(unit, power, liking)`: which unit is put in first, when
    height alone does not say. `units`: the items of each group, by number.
    """

    columns: tuple[Column, ...]
    units: Sequence[tuple[Item, ...]]
    shelf_mm2: float
    pack_shape: Shape | None = None
    packs_wanted: int = 0
    penalty: Penalty | None = None
    ranking: Ranking | None = None
    air_cost: float = 0.5
    noise: float = 0.3
    repacks: int = 64
    repacks_left: int = 0

    def empty_load(self) -> Load:
        return tuple(column.start() for column in self.columns)

    def has_height(self, tower: Tower, item: Item) -> bool:
        """Whether some shelf of a tower, old or new, has the height for an item."""
        return bool(_tower_options(tower, item, 0.0))

    # ---- putting in

    def put(self, state: Loads, unit: Sequence[Item], random: Random) -> bool:
        """Put a unit into one of the loads; False when there is no room for all of it."""
        if len(unit) == 1:
            return self._put_item(state, unit[0], range(len(state.loads)), random)
        order = list(range(len(state.loads)))
        random.shuffle(order)
        for index in order:
            before = state.loads[index]
            if all(self._put_item(state, item, (index,), random) for item in unit):
                return True
            state.loads[index] = before
        return False

    def _put_item(self, state: Loads, item: Item, indexes: Sequence[int], random: Random) -> bool:
        options = self._options(state, item, indexes, random)
        options.sort(key=_cost)
        for _, load_index, tower_index, layer_index in options:
            load = state.loads[load_index]
            tower = self._placed(load[tower_index], item, layer_index, random)
            if tower is not None:
                state.loads[load_index] = (*load[:tower_index], tower, *load[tower_index + 1 :])
                return True
        if self.repacks_left <= 0:
            return False
        # Shelves that had no room as they stood, now or before, may have it when put down anew.
        options = self._options(state, item, indexes, random, are_barred_too=True)
        options.sort(key=_cost)
        return self._put_by_repacking(state, item, options)

    def _placed(self, tower: Tower, item: Item, layer_index: int, random: Random) -> Tower | None:
        if layer_index < 0:
            fitting = [new for new in tower.with_new_layer(item) if new.slack_mm >= 0]
            if len(fitting) > 1 and self.ranking is not None and random.random() < 0.3:
                return random.choice(fitting)
            return max(fitting, key=lambda new: new.slack_mm, default=None)
        layer = tower.layers[layer_index]
        pattern = layer.pattern.plus(item.shape)
        if pattern is None:
            return None
        return tower.with_layer(layer_index, layer.plus(item, pattern))

    def _put_by_repacking(
        self, state: Loads, item: Item, options: list[tuple[float, int, int, int]]
    ) -> bool:
        """Make room on a shelf by putting everything on it down anew."""
        for _, load_index, tower_index, layer_index in options:
            if layer_index < 0:
                continue
            load = state.loads[load_index]
            tower = load[tower_index]
            layer = tower.layers[layer_index]
            book = layer.pattern.book
            shapes = [*(spot.shape for spot in layer.pattern.spots), item.shape]
            if book.is_hopeless(shapes):
                continue
            self.repacks_left -= len(shapes) * TRIES
            pattern = book.repacked(shapes)
            if pattern is not None:
                tower = tower.with_layer(layer_index, layer.plus(item, pattern))
                state.loads[load_index] = (*load[:tower_index], tower, *load[tower_index + 1 :])
                return True
            if self.repacks_left <= 0:
                break
        return False

    def _options(
        self,
        state: Loads,
        item: Item,
        indexes: Sequence[int],
        random: Random,
        are_barred_too: bool = False,
    ) -> list[tuple[float, int, int, int]]:
        """(cost, load, tower, layer) of every place whose height allows the item; -1: new layer."""
        options: list[tuple[float, int, int, int]] = []
        air = self.air_cost * item.shape.area_mm2 / self.shelf_mm2
        rand, noise = random.random, self.noise
        for load_index in indexes:
            extra = 0.0
            if self.penalty is not None:
                extra = self.penalty(item, load_index)
                if extra == float("inf"):
                    continue
            for tower_index, tower in enumerate(state.loads[load_index]):
                for cost, layer_index in _tower_options(tower, item, air, are_barred_too):
                    cost = cost * (1 + noise * rand()) + extra
                    options.append((cost, load_index, tower_index, layer_index))
        return options

    # ---- taking out

    def take_out(self, state: Loads, load_index: int, gone: set[int]) -> list[Item]:
        """Take items out of a load, and with each the rest of its group; returns what left."""
        load = state.loads[load_index]
        inside = items_in(load)
        units = {item.unit for item in inside if item.number in gone}
        leaving = [item for item in inside if item.unit in units]
        numbers = {item.number for item in leaving}
        state.loads[load_index] = tuple(
            tower.less(numbers)
            if any(item.number in numbers for layer in tower.layers for item in layer.items)
            else tower
            for tower in load
        )
        return leaving

    # ---- cone packs

    def settle_packs(self, state: Loads, random: Random) -> list[Item]:
        """See that every load has its cone packs; returns items that had to leave for them."""
        left: list[Item] = []
        if self.pack_shape is None or self.packs_wanted == 0:
            return left
        for index in range(len(state.loads)):
            left += self._settle_load(state, index, random)
        return left

    def _settle_load(self, state: Loads, index: int, random: Random) -> list[Item]:
        left: list[Item] = []
        while missing_packs(state.loads[index], self.packs_wanted) > 0:
            if self._add_pack(state, index) or self._add_pack_layer(state, index):
                continue
            leaving = self._clear_a_layer(state, index)
            if not leaving:
                break
            left += leaving
        return self._put_back(state, index, left, random) if left else left

    def _put_back(
        self, state: Loads, index: int, left: Sequence[Item], random: Random
    ) -> list[Item]:
        """Put units that left for a pack in again where a pack still finds room beside them."""
        out: list[Item] = []
        for number in sorted({item.unit for item in left}):
            unit, before = self.units[number], state.loads[index]
            is_in = all(self._put_item(state, item, (index,), random) for item in unit)
            while is_in and missing_packs(state.loads[index], self.packs_wanted) > 0:
                is_in = self._add_pack(state, index) or self._add_pack_layer(state, index)
            if not is_in:
                state.loads[index] = before
                out += unit
        return out

    def _add_pack(self, state: Loads, index: int) -> bool:
        load = state.loads[index]
        shape = self.pack_shape
        best: tuple[int, int, Tower] | None = None
        for tower_index, tower in enumerate(load):
            for layer_index, layer in enumerate(tower.layers):
                if shape is None or layer.has_pack or layer.is_wholly_booked:
                    continue
                new = tower.with_pack(layer_index, shape)
                if new is not None:
                    lost = tower.slack_mm - new.slack_mm
                    if best is None or lost < best[0]:
                        best = (lost, tower_index, new)
        if best is None:
            return False
        _, tower_index, tower = best
        state.loads[index] = (*load[:tower_index], tower, *load[tower_index + 1 :])
        return True

    def _add_pack_layer(self, state: Loads, index: int) -> bool:
        """Give the cones a shelf of their own, where the height for one is left."""
        load, shape = state.loads[index], self.pack_shape
        options = [
            (tower_index, new)
            for tower_index, tower in enumerate(load)
            for new in (tower.with_pack_layer(shape) if shape else ())
            if new.slack_mm >= 0
        ]
        if not options:
            return False
        at, tower = max(options, key=lambda option: option[1].slack_mm)
        state.loads[index] = (*load[:at], tower, *load[at + 1 :])
        return True

    def _clear_a_layer(self, state: Loads, index: int) -> list[Item]:
        """Take the lightest layer without a pack out of a load, to make room for cones."""
        layers = [
            layer
            for tower in state.loads[index]
            for layer in tower.layers
            if layer.items and not layer.has_pack and not layer.is_wholly_booked
        ]
        if not layers:
            return []
        lightest = min(layers, key=lambda layer: sum(item.bulk for item in layer.items))
        return self.take_out(state, index, {item.number for item in lightest.items})


def _cost(option: tuple[float, int, int, int]) -> float:
    return option[0]


def _tower_options(
    tower: Tower, item: Item, air: float, are_barred_too: bool = False
) -> list[tuple[float, int]]:
    """(cost, layer) for each layer of a tower that has the height; -1 is a new layer.

    What found no room before is asked of the pattern here, since that answers most questions;
    with `are_barred_too` such layers are named all the same.
    """
    options: list[tuple[float, int]] = []
    slack, height, shape = tower.slack_mm, item.height_mm, item.shape
    if slack < 0:
        return options
    for index, layer in enumerate(tower.layers):
        if layer.site.is_whole or (not are_barred_too and layer.pattern.is_barred(shape)):
            continue
        if height <= layer.height_mm:
            options.append(((layer.height_mm - height) * air, index))
            continue
        more = raised_by_mm(tower, index, height)
        if more <= slack:
            options.append((float(more), index))
    more = _new_layer_mm(tower, height)
    if more <= slack and more < NEVER:
        options.append((float(more), -1))
    return options


def raised_by_mm(tower: Tower, index: int, height: int) -> int:
    """How much of a tower's slack it takes to make a layer so high."""
    column, layers = tower.column, tower.layers
    if index == len(layers) - 1:
        return height - layers[index].height_mm
    set_posts = layers[index + 1].site.post_mm
    if set_posts is not None:
        return 0 if height + column.above_mm <= sum(set_posts) else NEVER
    return column.rise_mm(height) - column.rise_mm(layers[index].height_mm)


def _new_layer_mm(tower: Tower, height: int) -> int:
    """How much of a tower's slack one more layer of this height takes; `NEVER` without a shelf."""
    column, layers = tower.column, tower.layers
    if len(layers) >= column.most_layers:
        return NEVER
    if not layers:
        return height + column.thickness_mm if height <= column.empty_room_mm() else NEVER
    top = layers[-1].height_mm
    under_top, on_top = column.rise_mm(height), column.rise_mm(top) + height - top
    return min(under_top, on_top) + column.thickness_mm


def missing_packs(load: Load, wanted: int) -> int:
    """How many cone packs a load lacks; layers that are wholly booked need none."""
    layers = [layer for tower in load for layer in tower.layers]
    if not layers or not wanted:
        return 0
    needed = min(wanted, max(1, sum(not layer.is_wholly_booked for layer in layers)))
    return max(0, needed - sum(layer.has_pack for layer in layers))


__all__ = [
    "CONE_PACK_HEIGHT_MM",
    "Layer",
    "Loads",
    "Pattern",
    "Penalty",
    "Recreator",
    "missing_packs",
]
