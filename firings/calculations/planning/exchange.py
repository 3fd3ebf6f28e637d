"""A fuller shelf by exchange: some ware off one shelf, ware from the bank on in its stead.

Ruin and recreate puts pieces in one by one, so it seldom meets the set that only just goes onto a
shelf. Here sets are made first, by chance, that would be worth more than what stands there; then
the shelf's book is asked whether one of them fits, put down anew or squeezed. It remembers, so a
set is never worked at for long.
"""

from collections.abc import Callable, Sequence
from random import Random

from firings.calculations.planning.patterns import Pattern
from firings.calculations.planning.recreate import Loads, Recreator, raised_by_mm
from firings.calculations.planning.towers import Item, Layer, Tower

Worth = Callable[[Item], float]
# Sets made up for one shelf, and how many of them its book is asked about.
SETS_MADE, SETS_ASKED = 60, 1
# So many pieces leave the shelf for others at most.
LEAVING_AT_MOST = 3


def exchange(state: Loads, make: Recreator, worth: Worth, random: Random) -> bool:
    """Make one shelf of a load worth more, in place; False when no set asked about fits."""
    places = [
        (load_index, tower_index, layer_index)
        for load_index, load in enumerate(state.loads)
        for tower_index, tower in enumerate(load)
        for layer_index, layer in enumerate(tower.layers)
        if not layer.site.is_whole
    ]
    waiting = [item for item in state.bank if len(make.units[item.unit]) == 1]
    if not places or not waiting:
        return False
    load_index, tower_index, layer_index = random.choice(places)
    load = state.loads[load_index]
    if layer_index < len(load[tower_index].layers) - 1 and random.random() < 0.3:
        tower = load[tower_index].topped_with(layer_index)
        layer_index = len(tower.layers) - 1
    else:
        tower = load[tower_index]
    changed = _fuller(tower, layer_index, waiting, make, worth, random)
    if changed is None:
        return False
    new, gone, come = changed
    state.loads[load_index] = (*load[:tower_index], new, *load[tower_index + 1 :])
    arrived = {item.number for item in come}
    state.bank = [item for item in state.bank if item.number not in arrived] + gone
    return True


def _fuller(
    tower: Tower,
    layer_index: int,
    waiting: Sequence[Item],
    make: Recreator,
    worth: Worth,
    random: Random,
) -> tuple[Tower, list[Item], list[Item]] | None:
    """The tower with a shelf worth more, what left it and what came."""
    layer = tower.layers[layer_index]
    fitting = [
        item
        for item in _one_of_each(waiting, random)
        if item.height_mm <= layer.height_mm
        or raised_by_mm(tower, layer_index, item.height_mm) <= tower.slack_mm
    ]
    if not fitting:
        return None
    asked = 0
    seen: set[tuple[int, ...]] = set()
    for _ in range(SETS_MADE):
        made = _made(layer, fitting, make, worth, random)
        if made is None:
            continue
        gone, come = made
        shapes = _shapes_after(layer, gone, come)
        key = tuple(sorted(shape.number for shape in shapes))
        book = layer.pattern.book
        if key in seen or book.is_hopeless(shapes):
            continue
        seen.add(key)
        asked += 1
        pattern = book.repacked(shapes)
        if pattern is not None:
            new = tower.with_layer(layer_index, _with(layer, pattern, gone, come))
            if new.slack_mm >= 0:
                return new, gone, come
        if asked >= SETS_ASKED:
            break
    return None


def _one_of_each(waiting: Sequence[Item], random: Random) -> list[Item]:
    """The bank in an order of chance; of pieces just alike no more than four."""
    shuffled = random.sample(waiting, len(waiting))
    counts: dict[tuple[int, int], int] = {}
    kept = []
    for item in shuffled:
        alike = (item.shape.number, item.height_mm)
        counts[alike] = counts.get(alike, 0) + 1
        if counts[alike] <= 4:
            kept.append(item)
    return kept


def _made(
    layer: Layer, fitting: Sequence[Item], make: Recreator, worth: Worth, random: Random
) -> tuple[list[Item], list[Item]] | None:
    """What leaves and what comes, so that the shelf is worth more; None when this try is not."""
    loose = [item for item in layer.items if len(make.units[item.unit]) == 1]
    gone = random.sample(loose, min(len(loose), random.randint(0, LEAVING_AT_MOST)))
    lost = sum(worth(item) for item in gone)
    come: list[Item] = []
    gained = 0.0
    for item in random.sample(fitting, min(len(fitting), len(gone) + 2)):
        come.append(item)
        gained += worth(item)
        if gained > lost + 1e-9:
            return gone, come
    return None


def _shapes_after(layer: Layer, gone: Sequence[Item], come: Sequence[Item]) -> list:
    leaving = [item.shape.number for item in gone]
    shapes = []
    for spot in layer.pattern.spots:
        if spot.shape.number in leaving:
            leaving.remove(spot.shape.number)
        else:
            shapes.append(spot.shape)
    return shapes + [item.shape for item in come]


def _with(layer: Layer, pattern: Pattern, gone: Sequence[Item], come: Sequence[Item]) -> Layer:
    left = {item.number for item in gone}
    items = (*(item for item in layer.items if item.number not in left), *come)
    return Layer(layer.site, pattern, items, layer.has_pack and not layer.site.has_pack)
