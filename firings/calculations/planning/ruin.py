"""Which ware to take out of the loads before it is put back: the ruin half of the search."""

from collections.abc import Sequence
from random import Random

from firings.calculations.planning.recreate import Loads, Recreator
from firings.calculations.planning.towers import Item, Layer

# Shares of the ways to ruin: whole layers of like height, pieces like a banked one, one load.
LAYERS, LIKE_BANKED = 0.6, 0.3


def ruin(
    state: Loads, make: Recreator, random: Random, most_layers: int = 4
) -> tuple[list[Item], set[int]]:
    """Take ware out; returns the items that left and the numbers of the loads they left."""
    if make.penalty is not None and random.random() < 0.5:
        ruined = _ruin_late(state, make, random)
        if ruined[0]:
            return ruined
    choice = random.random()
    if choice < LAYERS or not state.bank:
        return _ruin_layers(state, make, random, most_layers)
    if choice < LAYERS + LIKE_BANKED:
        return _ruin_like(state, make, random, random.choice(state.bank))
    return _ruin_load(state, make, random)


def _layers(state: Loads) -> list[tuple[int, Layer]]:
    return [
        (index, layer)
        for index, load in enumerate(state.loads)
        for tower in load
        for layer in tower.layers
        if layer.items and not layer.site.is_whole
    ]


def _take(
    state: Loads, make: Recreator, chosen: Sequence[tuple[int, set[int]]]
) -> tuple[list[Item], set[int]]:
    left: list[Item] = []
    by_load: dict[int, set[int]] = {}
    for index, numbers in chosen:
        by_load.setdefault(index, set()).update(numbers)
    for index, numbers in by_load.items():
        left += make.take_out(state, index, numbers)
    return left, set(by_load)


def _ruin_layers(
    state: Loads, make: Recreator, random: Random, most_layers: int
) -> tuple[list[Item], set[int]]:
    """One layer, and some of those that are nearest to it in height, whole or in part."""
    layers = _layers(state)
    if not layers:
        return [], set()
    wanted: float = random.choice(layers)[1].height_mm
    if state.bank and random.random() < 0.5:
        wanted = random.choice(state.bank).height_mm
    spread = 8 + 40 * random.random()
    ranked = sorted(
        layers, key=lambda one: abs(one[1].height_mm - wanted) + spread * random.random()
    )
    count = 1 + int(random.random() * most_layers)
    chosen = []
    for index, layer in ranked[:count]:
        whole = random.random() < 0.7
        share = 1.0 if whole else random.random()
        chosen.append(
            (index, {item.number for item in layer.items if whole or random.random() < share})
        )
    return _take(state, make, chosen)


def _ruin_like(
    state: Loads, make: Recreator, random: Random, banked: Item
) -> tuple[list[Item], set[int]]:
    """Pieces of about the height of one that found no room, from anywhere."""
    found = [
        (abs(item.height_mm - banked.height_mm) + 40 * random.random(), index, item.number)
        for index, layer in _layers(state)
        for item in layer.items
    ]
    found.sort()
    count = 2 + int(random.random() * 10)
    return _take(state, make, [(index, {number}) for _, index, number in found[:count]])


def _ruin_late(state: Loads, make: Recreator, random: Random) -> tuple[list[Item], set[int]]:
    """A piece that its load makes late, and pieces of like height in loads that would not."""
    penalty = make.penalty
    if penalty is None:
        return [], set()
    standing = [(index, item) for index, layer in _layers(state) for item in layer.items]
    late = [(index, item) for index, item in standing if penalty(item, index) > 0]
    if not late:
        return [], set()
    index, chosen = random.choice(late)
    found = [
        (abs(item.height_mm - chosen.height_mm) + 40 * random.random(), other, item.number)
        for other, item in standing
        if penalty(chosen, other) == 0
    ]
    found.sort()
    count = 1 + int(random.random() * 8)
    gone = [(other, {number}) for _, other, number in found[:count]]
    return _take(state, make, [(index, {chosen.number}), *gone])


def _ruin_load(state: Loads, make: Recreator, random: Random) -> tuple[list[Item], set[int]]:
    """Half a load, with a layer from elsewhere of each height that it had."""
    index = random.randrange(len(state.loads))
    layers = [(i, layer) for i, layer in _layers(state) if i == index]
    random.shuffle(layers)
    chosen = [
        (i, {item.number for item in layer.items}) for i, layer in layers[: 1 + len(layers) // 2]
    ]
    return _take(state, make, chosen)
