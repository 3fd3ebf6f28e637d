"""What crew see when they unload: how the cones stand, and how each piece came out."""

from __future__ import annotations

from decimal import Decimal

from billing.demo.scene import Scene
from firings.actions.open_and_unload import ConeSeen
from firings.calculations.cones import CONES
from firings.models import Booking, Firing

FAULTY_SHARE = 0.02
FAULTS = (
    ("cracked", "Crack from the rim."),
    ("cracked", "The foot has a crack."),
    ("glaze_fault", "Crawled on one side."),
    ("glaze_fault", "Pinholes inside."),
    ("stuck", "A drip held it to the shelf; ground off."),
    ("broken", "Burst: it was still damp inside."),
)
WEIGHTS = {"bisque": (4, 4, 0, 0, 0, 1), "glaze": (3, 2, 5, 4, 2, 0)}


def cones_seen(scene: Scene, firing: Firing, *, is_short: bool) -> list[ConeSeen]:
    """The firing's cone, and the next hotter one as a guard, on each layer with a cone pack."""
    layers = sorted({layer.position for layer in firing.layers.all() if layer.cone_pack})
    guard = CONES[CONES.index(firing.cone) + 1]
    seen = []
    for layer in layers or [1]:
        bend = scene.dice.randint(35, 55) if is_short else scene.dice.randint(88, 100)
        seen.append(ConeSeen(layer, firing.cone, Decimal(bend) / 100))
        if not is_short:
            seen.append(ConeSeen(layer, guard, Decimal(scene.dice.randint(5, 30)) / 100))
    return seen


def outcomes_of(scene: Scene, booking: Booking) -> dict[int, tuple[str, str]]:
    """The pieces that did not come out sound, and what is wrong with them."""
    return {
        piece.pk: scene.dice.choices(FAULTS, weights=WEIGHTS[booking.stage])[0]
        for piece in booking.pieces.all()
        if scene.is_chance(FAULTY_SHARE)
    }
