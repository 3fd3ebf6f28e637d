"""Clays, glazes, usual sizes, and what each maker likes to make. Sizes in mm."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from billing.demo.scene import Scene
from firings.actions.book import PieceRequest
from firings.actions.ware import edit_firing_policy, set_clay, set_glaze, set_piece_size
from firings.models import Clay, Glaze

# name, glaze cones, bisque cones
CLAYS = (
    ("Saltmarsh buff", ("5", "7"), ("08", "04")),
    ("Speckled shingle", ("5", "6"), ("06", "04")),
    ("Cuttle white", ("5", "6"), ("08", "04")),
    ("Driftwood stoneware", ("8", "10"), ("08", "04")),
    ("Eelgrass porcelain", ("9", "10"), ("08", "05")),
)
GLAZES = (
    ("Fogbank white", "5", "6"),
    ("Kelp green", "5", "6"),
    ("Rust ledge", "5", "7"),
    ("Deep channel blue", "5", "6"),
    ("Oatmeal satin", "4", "6"),
    ("Winter sea celadon", "9", "10"),
    ("Boathouse black", "8", "10"),
    ("Shell clear", "9", "11"),
)
SIZES = (
    PieceRequest("Mug", "round", 92, 104),
    PieceRequest("Small bowl", "round", 128, 62),
    PieceRequest("Tumbler", "round", 82, 112),
    PieceRequest("Bowl", "round", 172, 84),
    PieceRequest("Side plate", "round", 182, 26),
    PieceRequest("Plate", "round", 246, 32),
    PieceRequest("Tile", "rectangle", 152, 14, 152),
    PieceRequest("Vase", "round", 112, 208),
    PieceRequest("Planter", "round", 176, 158),
    PieceRequest("Butter dish", "rectangle", 188, 82, 112),
    PieceRequest("Teapot", "round", 165, 146),
    PieceRequest("Serving tray", "rectangle", 310, 38, 205),
)
BY_NAME = {size.name: size for size in SIZES}
COMMON = ("Mug", "Small bowl", "Tumbler", "Bowl", "Side plate", "Mug", "Small bowl", "Tile")
RARE = ("Plate", "Vase", "Planter", "Butter dish", "Teapot", "Serving tray")
NOTES = (
    "",
    "",
    "",
    "",
    "",
    "Handles are thin, please mind them.",
    "A set, if it can stay together.",
)
FRACTION_HEIGHT_MM = 90
PLACES = ("North shelf", "Window shelf", "Low shelf", "Cart by the door")


@dataclass(frozen=True)
class Batch:
    """What one maker has on the board: one clay, some pieces or a part of a shelf."""

    clay: Clay
    pieces: tuple[PieceRequest, ...] = ()
    shelf_fraction: str = ""
    note: str = ""

    @property
    def bisque_cone(self) -> str:
        return "06" if self.clay.bisque_cone_high == "05" else "04"

    @property
    def glaze_cone(self) -> str:
        return "6" if self.clay.cone_low == "5" else "10"

    @property
    def sizes(self) -> dict[str, Any]:
        """As booking takes it."""
        if self.shelf_fraction:
            return {
                "shelf_fraction": self.shelf_fraction,
                "shelf_height_mm": FRACTION_HEIGHT_MM,
            }
        return {"pieces": self.pieces}


def stock_the_studio(scene: Scene, at: datetime) -> None:
    """What the manager sets on day one: cones, clays, glazes, sizes and pick-up places."""
    by = scene.manager
    edit_firing_policy(
        by=by,
        at=at,
        fields={
            "bisque_cones": ["06", "04"],
            "glaze_cones": ["6", "10"],
            "pick_up_places": list(PLACES),
        },
    )
    for name, (low, high), (bisque_low, bisque_high) in CLAYS:
        fields = {
            "name": name, "cone_low": low, "cone_high": high,
            "bisque_cone_low": bisque_low, "bisque_cone_high": bisque_high,
        }  # fmt: skip
        set_clay(by=by, at=at, fields=fields)
    for name, low, high in GLAZES:
        set_glaze(by=by, at=at, fields={"name": name, "cone_low": low, "cone_high": high})
    for position, size in enumerate(SIZES, start=1):
        palette: dict[str, Any] = {
            "name": size.name, "shape": size.shape, "across_mm": size.across_mm,
            "depth_mm": size.depth_mm, "height_mm": size.height_mm, "position": position,
        }  # fmt: skip
        set_piece_size(by=by, at=at, fields=palette)


def some_batch(scene: Scene, *, is_class: bool = False) -> Batch:
    """What somebody made this week: mostly one or two kinds of small ware."""
    dice = scene.dice
    name = dice.choices([clay[0] for clay in CLAYS], weights=(7, 5, 4, 3, 2))[0]
    clay = Clay.objects.get(name=name)
    if scene.is_chance(0.04):
        return Batch(clay, shelf_fraction=dice.choice(("quarter", "quarter", "half")))
    pieces = [_some(scene, dice.choice(COMMON), dice.randint(2, 6))]
    if is_class:
        pieces += [_some(scene, dice.choice(COMMON), dice.randint(3, 5))]
    if scene.is_chance(0.4):
        pieces += [_some(scene, dice.choice(RARE), dice.randint(1, 2))]
    elif scene.is_chance(0.4):
        pieces += [_some(scene, dice.choice(COMMON), dice.randint(1, 4))]
    return Batch(clay, tuple(pieces), note=dice.choice(NOTES))


def _some(scene: Scene, name: str, count: int) -> PieceRequest:
    """So many of a usual kind; now and then measured and typed by hand."""
    size = BY_NAME[name]
    if not scene.is_chance(0.2):
        return replace(size, count=count)
    across_mm = size.across_mm + scene.dice.randint(-12, 12)
    return replace(
        size, count=count, across_mm=across_mm, height_mm=size.height_mm + scene.dice.randint(-8, 8)
    )


def some_glazes(scene: Scene, cone: str) -> list[Glaze]:
    """One or two glazes that the cone suits."""
    names = [name for name, low, _ in GLAZES if (low in ("4", "5")) == (cone == "6")]
    chosen = scene.dice.sample(names, scene.dice.choice((1, 1, 2)))
    return [Glaze.objects.get(name=name) for name in chosen]
