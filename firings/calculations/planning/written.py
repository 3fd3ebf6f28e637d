"""From the search's own loads to the layers of a plan."""

from firings.calculations.load_plan import Placement, PlannedLayer
from firings.calculations.planning.preparing import Prepared, is_swapped
from firings.calculations.planning.problem import HeldLayer
from firings.calculations.planning.towers import Layer, Load, Tower, spots_of_items

# A tenth of a micrometre; the check of a plan forgives a hundred times as much.
DIGITS = 4


def written_layers(prepared: Prepared, load: Load) -> tuple[PlannedLayer, ...]:
    """The layers of a load, tower by tower from the bottom up."""
    return tuple(layer for tower in load for layer in _tower_layers(prepared, tower))


def _tower_layers(prepared: Prepared, tower: Tower) -> list[PlannedLayer]:
    column = tower.column
    held = {
        layer.index: layer for layer in prepared.held.layers if layer.stack == column.stack.name
    }
    count = len(tower.layers)
    while count and _is_idle(tower.layers[count - 1], held.get(count)):
        count -= 1
    planned = []
    surface_mm = 0
    for number, layer in enumerate(tower.layers[:count]):
        posts = column.posts_under(tower.layers, number)
        assert posts is not None, "the search keeps no tower that posts cannot carry"
        bottom_mm = surface_mm + sum(posts)
        surface_mm = bottom_mm + column.thickness_mm
        index = number + 1
        planned.append(
            _planned(prepared, column.stack.name, layer, held.get(index), index, posts, bottom_mm)
        )
    return planned


def _is_idle(layer: Layer, held: HeldLayer | None) -> bool:
    """A top shelf with nothing on it that crew have not asked for."""
    asked_for = held is not None and (
        held.locked or held.locked_fractions or held.cone_pack or held.keep_free or held.post_mm
    )
    return not layer.items and not layer.has_pack and not asked_for


def _planned(
    prepared: Prepared,
    stack: str,
    layer: Layer,
    held: HeldLayer | None,
    index: int,
    posts: tuple[int, ...],
    bottom_mm: int,
) -> PlannedLayer:
    placements = list(held.locked) if held else []
    fractions = list(held.locked_fractions) if held else []
    pack = held.cone_pack if held else None
    for item, spot in spots_of_items(layer):
        x_mm, y_mm = round(spot.x_mm, DIGITS) + 0.0, round(spot.y_mm, DIGITS) + 0.0
        if item is None:
            pack = Placement("", x_mm, y_mm, spot.turn_deg)
        elif spot.quarters:
            fractions.append((item.id, spot.quarters))
        else:
            turn = spot.turn_deg
            if is_swapped(prepared.pieces[item.id]):
                turn = (turn + 90) % 180
            placements.append(Placement(item.id, x_mm, y_mm, turn))
    return PlannedLayer(stack, index, posts, bottom_mm, tuple(placements), tuple(fractions), pack)
