"""A plain way to clear a queue by its dates, to hold the search against.

As crew do it by hand: on each day on which the kiln is free, of what is dry, each stage and cone is
loaded tallest first; the fullest load is fired, and so on until all is fired. It keeps no load back
for a better one, so few pieces are late; how many gives the number that a plan with fewer firings
may not exceed.
"""

from collections.abc import Sequence
from random import Random

from firings.calculations.planning.anneal import plain_mood, recreate_all
from firings.calculations.planning.left_out import FIXED_SEED
from firings.calculations.planning.preparing import Prepared
from firings.calculations.planning.recreate import Loads
from firings.calculations.planning.towers import Item, Load, items_in


def loads_by_dates(
    kinds: Sequence[Prepared], never: Sequence[frozenset[str]], today: int, between: int
) -> list[list[tuple[int, Load]]]:
    """For each stage and cone its loads with their days (ordinals), in order.

    `never`: for each kind the ids that no load can take. `between`: days from one firing to the
    next at least.
    """
    waiting = [
        {item.number: item for item in prepared.items if item.id not in barred}
        for prepared, barred in zip(kinds, never, strict=True)
    ]
    fired: list[list[tuple[int, Load]]] = [[] for _ in kinds]
    known: dict[int, tuple[tuple[int, ...], Load]] = {}
    day = today
    while any(waiting):
        for number, prepared in enumerate(kinds):
            dry = _dry(prepared, waiting[number], day)
            asked = tuple(item.number for item in dry)
            if known.get(number, ((), ()))[0] != asked:
                known[number] = (asked, _loaded(prepared, dry))
        fullest = max(known, key=lambda number: (_area_mm2(known[number][1]), -number), default=-1)
        load = known[fullest][1] if fullest >= 0 else ()
        if not items_in(load):
            day = _next_dry(kinds, waiting, day)
            continue
        fired[fullest].append((day, load))
        for item in items_in(load):
            del waiting[fullest][item.number]
        day += between
    return fired


def _dry(prepared: Prepared, waiting: dict[int, Item], day: int) -> list[Item]:
    """What waits of the groups that are wholly dry."""
    return [
        item
        for item in waiting.values()
        if all(other.ready <= day for other in prepared.units[item.unit])
    ]


def _loaded(prepared: Prepared, dry: Sequence[Item]) -> Load:
    make, state = prepared.make, prepared.new_state(1)
    noise, make.noise = make.noise, 0.0
    fixed = Random(FIXED_SEED)  # noqa: S311
    recreate_all(state, make, dry, plain_mood(0, fixed), 0)
    make.settle_packs(state, fixed)
    make.noise = noise
    return state.loads[0]


def _next_dry(kinds: Sequence[Prepared], waiting: Sequence[dict[int, Item]], day: int) -> int:
    """The next day on which another group is wholly dry."""
    days = {
        max(other.ready for other in prepared.units[item.unit])
        for prepared, items in zip(kinds, waiting, strict=True)
        for item in items.values()
    }
    later = [one for one in days if one > day]
    if not later:
        raise ArithmeticError("ware that fits into a kiln of its own was not loaded")
    return min(later)


def _area_mm2(load: Load) -> int:
    return sum(item.shape.area_mm2 for item in items_in(load))


def as_states(fired: Sequence[Sequence[tuple[int, Load]]]) -> list[Loads]:
    """The loads of each stage and cone, without their days."""
    return [Loads([load for _, load in loads]) for loads in fired]
