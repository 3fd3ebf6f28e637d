"""One layer of a load while it is filled: what stands on it and what still fits."""

from dataclasses import dataclass, field

from firings.calculations.footprints import Footprint
from firings.calculations.kiln_space import KilnSpace, Stack, bodies_of
from firings.calculations.load_plan import (
    CONE_PACK,
    CONE_PACK_HEIGHT_MM,
    QUARTERS,
    LoadPiece,
    Placement,
    PlannedLayer,
    quarter_choices,
)
from firings.calculations.outlines import Body, place_within
from firings.calculations.shelf_grid import FreePlaces, ShelfGrid, joined


@dataclass(frozen=True, slots=True)
class StandingWare:
    """Ware that stands in the kiln already, as the other towers see it."""

    x_mm: float
    y_mm: float
    body: Body
    low_mm: float
    high_mm: float


@dataclass
class ShelfLayer:
    """A shelf at its height. `most_mm`: the greatest height of ware that it may still take."""

    space: KilnSpace
    stack: Stack
    grid: ShelfGrid
    posts: tuple[int, ...]
    bottom_mm: int
    carries: bool
    neighbours: tuple[StandingWare, ...] = ()
    pieces: list[LoadPiece] = field(default_factory=list)
    placements: list[Placement] = field(default_factory=list)
    fractions: list[tuple[LoadPiece, tuple[int, ...]]] = field(default_factory=list)
    standing: list[StandingWare] = field(default_factory=list)
    cone_pack: Placement | None = None

    def __post_init__(self) -> None:
        self.free = FreePlaces(self.grid)
        if self.carries:
            post = Body(0.0, 0.0, self.space.post_width_mm / 2)
            for x_mm, y_mm in self.stack.post_places_mm:
                self.free.keep_clear(x_mm, y_mm, post, self.space.gap_to_posts_mm)

    @property
    def surface_mm(self) -> int:
        return self.bottom_mm + self.stack.shelf.thickness_mm

    @property
    def most_mm(self) -> int:
        return self.space.chamber.height_mm - self.surface_mm - self.space.gap_above_mm

    @property
    def is_empty(self) -> bool:
        return not self.pieces and self.cone_pack is None

    @property
    def height_mm(self) -> int:
        """The height of the tallest ware on the layer, 0 when nothing is on it."""
        cones = [CONE_PACK_HEIGHT_MM] if self.cone_pack else []
        return max([piece.height_mm for piece in self.pieces] + cones, default=0)

    @property
    def is_wholly_booked(self) -> bool:
        return sum(len(quarters) for _, quarters in self.fractions) == QUARTERS

    def take(self, piece: LoadPiece) -> bool:
        """Put a piece or a booked fraction on the layer if there is room."""
        if piece.height_mm > self.most_mm:
            return False
        if piece.footprint is None:
            taken = self._take_quarters(piece)
        else:
            placement = self._put_down(piece.id, piece.footprint, piece.height_mm)
            if placement is not None:
                self.placements.append(placement)
            taken = placement is not None
        if taken:
            self.pieces.append(piece)
        return taken

    def take_cone_pack(self) -> bool:
        if self.cone_pack is None and self.most_mm >= CONE_PACK_HEIGHT_MM:
            self.cone_pack = self._put_down("", CONE_PACK, CONE_PACK_HEIGHT_MM)
        return self.cone_pack is not None

    def _put_down(self, piece_id: str, footprint: Footprint, height_mm: int) -> Placement | None:
        while free := self._first_free(footprint):
            bit, body, turn_deg = free
            x_mm, y_mm = self.grid.place_mm(bit)
            near = self._too_near(x_mm, y_mm, body, height_mm)
            if near is None:
                self.free.put_down(body, bit)
                return self._stand(Placement(piece_id, x_mm, y_mm, turn_deg), body, height_mm)
            # Keeps all ware of this layer away from it, also ware that would stay below it.
            self.free.keep_clear(near.x_mm, near.y_mm, near.body, self.grid.gap_mm)
        return self._put_down_exactly(piece_id, footprint, height_mm)

    def _first_free(self, footprint: Footprint) -> tuple[int, Body, int] | None:
        """The frontmost place of a footprint in either turn: (grid point, body, turn_deg)."""
        places = [
            (bit, body, turn_deg)
            for body, turn_deg in bodies_of(footprint)
            if (bit := self.free.first_free(body)) is not None
        ]
        return min(places, key=lambda place: place[0], default=None)

    def _put_down_exactly(
        self, piece_id: str, footprint: Footprint, height_mm: int
    ) -> Placement | None:
        """Find the one place of a piece so wide that it lies between the points of the grid."""
        if not self.free.is_untouched:
            return None
        for body, turn_deg in bodies_of(footprint):
            if self.grid.start(body):
                continue
            place = place_within(self.grid.outline, body, self.grid.bounds_mm)
            if place is None or self._too_near(*place, body, height_mm):
                continue
            self.free.keep_clear(*place, body, self.grid.gap_mm)
            return self._stand(Placement(piece_id, *place, turn_deg), body, height_mm)
        return None

    def _stand(self, placement: Placement, body: Body, height_mm: int) -> Placement:
        low_mm = self.surface_mm
        self.standing.append(
            StandingWare(placement.x_mm, placement.y_mm, body, low_mm, low_mm + height_mm)
        )
        return placement

    def _too_near(
        self, x_mm: float, y_mm: float, body: Body, height_mm: int
    ) -> StandingWare | None:
        """Ware of another tower, at the same height, that a piece here would stand too near to."""
        high_mm = self.surface_mm + height_mm
        for ware in self.neighbours:
            if ware.low_mm < high_mm and self.surface_mm < ware.high_mm:
                reach = joined(ware.body, body, self.grid.gap_mm)
                if _is_nearer(x_mm - ware.x_mm, y_mm - ware.y_mm, reach):
                    return ware
        return None

    def _take_quarters(self, piece: LoadPiece) -> bool:
        taken = {quarter for _, quarters in self.fractions for quarter in quarters}
        for quarters in quarter_choices(piece.quarters):
            if taken.isdisjoint(quarters) and self._are_clear(quarters):
                self.fractions.append((piece, quarters))
                for quarter in quarters:
                    self.free.keep_clear(*self._quarter(quarter), self.grid.gap_mm / 2)
                return True
        return False

    def _are_clear(self, quarters: tuple[int, ...]) -> bool:
        """Whether nothing stands on these quarters or within half the spacing of them."""
        for quarter in quarters:
            x_mm, y_mm, area = self._quarter(quarter)
            for ware in self.standing:
                reach = joined(area, ware.body, self.grid.gap_mm / 2)
                if _is_nearer(ware.x_mm - x_mm, ware.y_mm - y_mm, reach):
                    return False
        return True

    def _quarter(self, quarter: int) -> tuple[float, float, Body]:
        """A quarter of the shelf as a rectangle: its middle and its half sizes."""
        left, front, right, back = self.stack.shelf.bounds_mm
        line_x, line_y = self.stack.shelf.quarter_lines_mm
        low_x, high_x = (line_x, right) if quarter in (0, 3) else (left, line_x)
        low_y, high_y = (line_y, back) if quarter in (0, 1) else (front, line_y)
        body = Body((high_x - low_x) / 2, (high_y - low_y) / 2, 0.0)
        return (low_x + high_x) / 2, (low_y + high_y) / 2, body

    def planned(self, index: int) -> PlannedLayer:
        return PlannedLayer(
            stack=self.stack.name,
            index=index,
            post_mm=self.posts,
            shelf_bottom_mm=self.bottom_mm,
            placements=tuple(self.placements),
            fractions=tuple((piece.id, quarters) for piece, quarters in self.fractions),
            cone_pack=self.cone_pack,
        )


def _is_nearer(off_x_mm: float, off_y_mm: float, reach: Body) -> bool:
    """Whether a middle lies strictly inside a rounded rectangle around (0, 0)."""
    beyond_x = max(0.0, abs(off_x_mm) - reach.half_width_mm)
    beyond_y = max(0.0, abs(off_y_mm) - reach.half_depth_mm)
    if reach.radius_mm <= 0:
        inside_x = abs(off_x_mm) < reach.half_width_mm - 1e-6
        return inside_x and abs(off_y_mm) < reach.half_depth_mm - 1e-6
    return beyond_x**2 + beyond_y**2 < (reach.radius_mm - 1e-6) ** 2
