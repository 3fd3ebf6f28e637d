"""Loads as the search handles them: towers of layers that are never changed, only replaced.

A layer is a pattern of footprints (`patterns`) with pieces of its own and the height of its
tallest. Under every layer but the top one of a tower stands a full set of posts, so a layer costs
its shelf and the least sum of posts that clears its tallest piece and the air above it: heights
come in the steps of the posts. The top layer carries none, has the whole of its shelf, and costs
no more than its tallest piece. What a tower has left below the lid is its `slack_mm`.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from firings.calculations.kiln_space import KilnSpace, Stack, lowest_posts
from firings.calculations.load_plan import CONE_PACK_HEIGHT_MM
from firings.calculations.planning.patterns import Pattern, Shape, ShelfBook, Spot

NEVER = 10**9
CONE_NUMBER = -1


@dataclass(frozen=True, slots=True, eq=False)
class Item:
    """A piece as the search sees it. `unit`: the number of its group; `bulk`: area x height."""

    number: int
    id: str
    shape: Shape
    height_mm: int
    unit: int
    bulk: float
    ready: int = 0
    due: int | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Site:
    """Where one layer can be: any shelf of a tower, or a certain one that crew hold.

    `carrying` and `topmost`: its shelf with and without posts on it. `least_mm`: the height of
    what is locked or kept free there. `post_mm`: the posts under it when crew have set them.
    """

    carrying: ShelfBook
    topmost: ShelfBook
    least_mm: int = 0
    post_mm: tuple[int, ...] | None = None
    is_whole: bool = False
    is_held: bool = False
    has_pack: bool = False


class Layer:
    """One shelf with what stands on it. `height_mm`: of the tallest thing on it."""

    __slots__ = ("area_mm2", "has_pack", "height_mm", "items", "pattern", "site")

    def __init__(
        self, site: Site, pattern: Pattern, items: tuple[Item, ...], has_pack: bool
    ) -> None:
        self.site = site
        self.pattern = pattern
        self.items = items
        self.has_pack = has_pack or site.has_pack
        height = CONE_PACK_HEIGHT_MM if has_pack else 0
        for item in items:
            height = max(height, item.height_mm)
        self.height_mm = max(height, site.least_mm)
        self.area_mm2 = sum(item.shape.area_mm2 for item in items)

    @property
    def is_wholly_booked(self) -> bool:
        return sum(item.shape.quarters for item in self.items) == 4

    def plus(self, item: Item, pattern: Pattern) -> "Layer":
        own_pack = self.has_pack and not self.site.has_pack
        return Layer(self.site, pattern, (*self.items, item), own_pack)

    def less(self, gone: set[int]) -> "Layer":
        """This layer without the items of these numbers."""
        leaving = [item.shape.number for item in self.items if item.number in gone]
        kept = tuple(item for item in self.items if item.number not in gone)
        own_pack = self.has_pack and not self.site.has_pack
        return Layer(self.site, self.pattern.without(leaving), kept, own_pack)

    def on(self, book: ShelfBook) -> "Layer | None":
        """The same layer on the other kind of shelf, as it stands or stood anew; or None."""
        if self.pattern.book is book:
            return self
        pattern = book.known(self.pattern.key)
        # Without posts there is all the room that there is with them.
        is_roomier = book is self.site.topmost and self.pattern.book is self.site.carrying
        if pattern is None and (is_roomier or book.fits_here(self.pattern.spots)):
            pattern = book.pattern(self.pattern.spots)
        if pattern is None:
            pattern = book.repacked([spot.shape for spot in self.pattern.spots])
        if pattern is None:
            return None
        own_pack = self.has_pack and not self.site.has_pack
        return Layer(self.site, pattern, self.items, own_pack)


class Column:
    """What is the same for a tower whatever stands in it."""

    def __init__(self, space: KilnSpace, stack: Stack, free: Site, held: Sequence[Site]) -> None:
        self.stack = stack
        self.free = free
        self.held = tuple(held)
        self.thickness_mm = stack.shelf.thickness_mm
        self.most_layers = stack.shelves_count if stack.can_carry else 1
        self.lid_mm = space.chamber.height_mm
        self.above_mm = space.gap_above_mm
        self.lowest = lowest_posts(space, space.lowest_post_mm)
        self.posts_for = [
            lowest_posts(space, height + space.gap_above_mm)
            for height in range(space.chamber.height_mm + 1)
        ]
        self.rises = [NEVER if posts is None else sum(posts) for posts in self.posts_for]

    @property
    def questions(self) -> int:
        """How much geometry was asked of this tower's shelves so far: the work done."""
        sites = (self.free, *self.held)
        return sum(site.carrying.questions + site.topmost.questions for site in sites)

    def rise_mm(self, height_mm: int) -> int:
        """The posts that clear ware of this height; `NEVER` when the studio has none so high."""
        return self.rises[height_mm] if height_mm < len(self.rises) else NEVER

    def posts_under(self, layers: Sequence[Layer], index: int) -> tuple[int, ...] | None:
        """The posts under a layer; None when none will do."""
        if layers[index].site.post_mm is not None:
            return layers[index].site.post_mm
        if index == 0:
            return self.lowest
        height = layers[index - 1].height_mm
        return self.posts_for[height] if height < len(self.posts_for) else None

    def slack_mm(self, layers: Sequence[Layer]) -> int:
        """The height left between the top layer's tallest piece and the lid; negative: too high."""
        if not layers:
            return NEVER if self.lowest is not None else -1
        total = 0
        for index in range(len(layers)):
            posts = self.posts_under(layers, index)
            if posts is None:
                return -1
            rise = sum(posts)
            if index and rise < layers[index - 1].height_mm + self.above_mm:
                return -1
            total += rise + self.thickness_mm
        return self.lid_mm - total - layers[-1].height_mm - self.above_mm

    def empty_room_mm(self) -> int:
        """How high a piece may be that stands alone in the tower."""
        if self.lowest is None:
            return -1
        return self.lid_mm - sum(self.lowest) - self.thickness_mm - self.above_mm

    def tower(self, layers: Iterable[Layer]) -> "Tower":
        return Tower(self, tuple(layers))

    def start(self) -> "Tower":
        """The tower with nothing in it but what crew hold."""
        layers = [
            Layer(site, site.carrying.empty, (), False)
            if number < len(self.held) - 1
            else Layer(site, site.topmost.empty, (), False)
            for number, site in enumerate(self.held)
        ]
        return Tower(self, tuple(layers))


class Tower:
    """Layers from the bottom up; the last one is the top one."""

    __slots__ = ("column", "layers", "slack_mm")

    def __init__(self, column: Column, layers: tuple[Layer, ...]) -> None:
        self.column = column
        self.layers = layers
        self.slack_mm = column.slack_mm(layers)

    def with_layer(self, index: int, layer: Layer) -> "Tower":
        return Tower(self.column, (*self.layers[:index], layer, *self.layers[index + 1 :]))

    def less(self, gone: set[int]) -> "Tower":
        """The tower without some items; a layer left with nothing on it is taken out."""
        layers = []
        for layer in self.layers:
            if any(item.number in gone for item in layer.items):
                left = layer.less(gone)
                if left.items or left.site.is_held:
                    layers.append(left)
            else:
                layers.append(layer)
        if layers and layers[-1].pattern.book is layers[-1].site.carrying:
            top = layers[-1].on(layers[-1].site.topmost)
            if top is None:
                raise ArithmeticError("a shelf without posts has all the room of one with them")
            layers[-1] = top
        return Tower(self.column, tuple(layers))

    def best_topped(self) -> "Tower":
        """The same layers, with that one on top whose posts would waste most height."""
        column, layers = self.column, self.layers
        first = len(column.held)
        if len(layers) - first < 2:
            return self

        def saved(layer: Layer) -> int:
            return column.rise_mm(layer.height_mm) - layer.height_mm

        best = max(range(first, len(layers)), key=lambda i: (saved(layers[i]), i))
        if saved(layers[best]) <= saved(layers[-1]):
            return self
        tower = self.topped_with(best)
        return tower if tower.slack_mm > self.slack_mm else self

    def topped_with(self, index: int) -> "Tower":
        """The same layers with another one on top; as it is when they would not stand so."""
        layers = self.layers
        if index == len(layers) - 1 or index < len(self.column.held):
            return self
        lowered = layers[-1].on(layers[-1].site.carrying)
        raised = layers[index].on(layers[index].site.topmost)
        if lowered is None or raised is None or layers[-1].site.is_held:
            return self
        rest = (*layers[:index], *layers[index + 1 : -1])
        tower = Tower(self.column, (*rest, lowered, raised))
        return tower if tower.slack_mm >= 0 else self

    def with_new_layer(self, item: Item) -> "Iterable[Tower]":
        """The tower with one more layer for this item: under the top one, or as the new top."""
        return self._with_one_more(item.shape, (item,), has_pack=False)

    def with_pack_layer(self, shape: Shape) -> "Iterable[Tower]":
        """The tower with one more layer that carries only a cone pack."""
        return self._with_one_more(shape, (), has_pack=True)

    def _with_one_more(
        self, shape: Shape, items: tuple[Item, ...], *, has_pack: bool
    ) -> "Iterable[Tower]":
        column, layers = self.column, self.layers
        if len(layers) >= column.most_layers:
            return
        site = column.free
        if len(layers) > len(column.held):
            pattern = site.carrying.empty.plus(shape)
            if pattern is not None:
                new = Layer(site, pattern, items, has_pack)
                yield Tower(column, (*layers[:-1], new, layers[-1]))
        pattern = site.topmost.empty.plus(shape)
        if pattern is None:
            return
        new = Layer(site, pattern, items, has_pack)
        if not layers:
            yield Tower(column, (new,))
            return
        lowered = layers[-1].on(layers[-1].site.carrying)
        if lowered is not None:
            yield Tower(column, (*layers[:-1], lowered, new))

    def with_pack(self, index: int, shape: Shape) -> "Tower | None":
        """The tower with a cone pack on this layer, or None."""
        layer = self.layers[index]
        if layer.site.is_whole:
            return None
        pattern = layer.pattern.plus(shape)
        if pattern is None:
            return None
        tower = self.with_layer(index, Layer(layer.site, pattern, layer.items, True))
        return tower if tower.slack_mm >= 0 else None


Load = tuple[Tower, ...]


def items_in(load: Load) -> list[Item]:
    return [item for tower in load for layer in tower.layers for item in layer.items]


def spots_of_items(
    layer: Layer, homes: Mapping[str, tuple[float, float]]
) -> list[tuple[Item | None, Spot]]:
    """Which item stands on which spot of its layer's pattern; None for the cone pack.

    `homes`: where items stood before, rounded to 0.01 mm; who stood on a spot stands there again.
    """
    waiting = sorted(layer.items, key=lambda item: item.id)
    pairs: list[tuple[Item | None, Spot]] = []
    strange: list[Spot] = []
    for spot in layer.pattern.spots:
        here = (round(spot.x_mm, 2), round(spot.y_mm, 2))
        item = next(
            (one for one in waiting if one.shape is spot.shape and homes.get(one.id) == here), None
        )
        if item is None:
            strange.append(spot)
        else:
            waiting.remove(item)
            pairs.append((item, spot))
    for spot in strange:
        if spot.shape.number == CONE_NUMBER:
            pairs.append((None, spot))
            continue
        item = next(one for one in waiting if one.shape.number == spot.shape.number)
        waiting.remove(item)
        pairs.append((item, spot))
    return pairs
