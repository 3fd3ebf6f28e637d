"""A load while it grows: the towers of shelves, what still waits, and how one shelf is filled."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from firings.calculations.footprints import area_mm2
from firings.calculations.kiln_space import KilnSpace, Stack, lowest_posts
from firings.calculations.load_plan import LoadPiece, PlannedLayer
from firings.calculations.shelf_grid import ShelfGrid
from firings.calculations.shelf_layer import ShelfLayer


def tallest_first(piece: LoadPiece) -> tuple[int, int, int, str]:
    """Sort key: the tallest, then the widest, then who came first."""
    area = 0 if piece.footprint is None else area_mm2(piece.footprint)
    return (-piece.height_mm, -area, piece.order, piece.id)


def first_come_first(piece: LoadPiece) -> tuple[int, int, int, str]:
    """Sort key: who came first, then the tallest and the widest."""
    tallest = tallest_first(piece)
    return (piece.order, *tallest[:2], piece.id)


@dataclass
class Tower:
    """The shelves put into a stack so far; a closed one takes no more."""

    stack: Stack
    layers: list[ShelfLayer] = field(default_factory=list)
    is_closed: bool = False

    def next_bottom_mm(self, space: KilnSpace) -> tuple[tuple[int, ...], int] | None:
        """The posts of the next shelf and the height of its underside; None when there is none."""
        if self.is_closed or len(self.layers) >= self.stack.shelves_count:
            return None
        if not self.layers:
            floor_mm, rise_mm = 0, space.lowest_post_mm
        else:
            top = self.layers[-1]
            if not top.carries:
                return None
            floor_mm, rise_mm = top.surface_mm, top.height_mm + space.gap_above_mm
        posts = lowest_posts(space, rise_mm)
        return None if posts is None else (posts, floor_mm + sum(posts))


@dataclass
class GrowingLoad:
    """A load while it grows: its towers, and the pieces that still wait."""

    space: KilnSpace
    towers: list[Tower]
    must: list[LoadPiece]
    may: list[LoadPiece]

    @property
    def layers(self) -> list[ShelfLayer]:
        return [layer for tower in self.towers for layer in tower.layers]

    @property
    def placed_ids(self) -> set[str]:
        return {piece.id for layer in self.layers for piece in layer.pieces}

    def missing_cone_packs(self, wanted: int) -> int:
        layers = self.layers
        if not layers or not wanted:
            return 0
        needed = min(wanted, max(1, sum(not layer.is_wholly_booked for layer in layers)))
        return max(0, needed - sum(layer.cone_pack is not None for layer in layers))

    def warnings(self, cone_packs_wanted: int) -> tuple[str, ...]:
        missing = self.missing_cone_packs(cone_packs_wanted)
        if not missing:
            return ()
        packs = "1 cone pack" if missing == 1 else f"{missing} cone packs"
        return (f"There is no room for {packs}: take something out, or fire without and say why.",)

    def planned_layers(self) -> tuple[PlannedLayer, ...]:
        return tuple(
            layer.planned(index)
            for tower in self.towers
            for index, layer in enumerate(tower.layers, 1)
        )

    def strike_off(self, layer: ShelfLayer) -> None:
        """Take what stands on a layer off the lists of what waits."""
        ids = {piece.id for piece in layer.pieces}
        self.must = [piece for piece in self.must if piece.id not in ids]
        self.may = [piece for piece in self.may if piece.id not in ids]


def without(pieces: Sequence[LoadPiece], layer: ShelfLayer) -> list[LoadPiece]:
    ids = {piece.id for piece in layer.pieces}
    return [piece for piece in pieces if piece.id not in ids]


@dataclass
class LayerMaker:
    """Fills a shelf at one height in the ways the packer wants to compare."""

    grid: ShelfGrid
    kiln: GrowingLoad
    tower: Tower
    posts: tuple[int, ...]
    bottom_mm: int
    wants_cones: bool
    cones_first: bool

    def layer(self, carries: bool) -> ShelfLayer:
        if not self.wants_cones:
            return self._filled(carries, with_cones=False)
        coned = self._filled(carries, with_cones=True)
        if self.cones_first or self._leads(coned):
            return coned
        # The tallest piece and the cones do not go together: the cones can wait for a layer above.
        plain = self._filled(carries, with_cones=False)
        return plain if self._leads(plain) else coned

    def _leads(self, layer: ShelfLayer) -> bool:
        """Whether the first of the waiting pieces stands on the layer."""
        waiting = self.kiln.must or self.kiln.may
        return any(piece.id == waiting[0].id for piece in layer.pieces)

    def _filled(self, carries: bool, with_cones: bool) -> ShelfLayer:
        tower = self.tower
        layer = ShelfLayer(
            self.kiln.space,
            tower.stack,
            self.grid,
            self.posts,
            self.bottom_mm,
            carries,
            tuple(
                ware
                for other in self.kiln.towers
                if other is not tower
                for beside in other.layers
                for ware in beside.standing
            ),
        )
        if with_cones:
            layer.take_cone_pack()
        self._take_must(layer)
        self._take_may(layer)
        return layer

    def _take_must(self, layer: ShelfLayer) -> None:
        """The tallest piece first, then the booked quarters, then the rest by height."""
        waiting = list(self.kiln.must)
        while waiting and not layer.take(waiting.pop(0)):
            pass
        booked = [piece for piece in waiting if piece.fraction is not None]
        loose = [piece for piece in waiting if piece.fraction is None]
        _take_each(layer, [*booked, *loose])

    def _take_may(self, layer: ShelfLayer) -> None:
        """Later pieces, in order; on a shelf that carries another they never raise it."""
        waiting = list(self.kiln.may)
        if layer.carries and not layer.pieces:
            while waiting and not layer.take(waiting.pop(0)):
                pass
        limit_mm = layer.height_mm if layer.carries else layer.most_mm
        _take_each(layer, [piece for piece in waiting if piece.height_mm <= limit_mm])


def _take_each(layer: ShelfLayer, pieces: Sequence[LoadPiece]) -> None:
    """Try each piece in turn; a size that found no room is not tried again."""
    refused: set[object] = set()
    for piece in pieces:
        size = piece.footprint or piece.fraction
        if size not in refused and not layer.take(piece) and piece.height_mm <= layer.most_mm:
            refused.add(size)
