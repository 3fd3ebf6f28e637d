"""What crew see when they unload: how the cones stand, and how each piece came out."""

from __future__ import annotations

from decimal import Decimal

from billing.demo.scene import Scene
from firings.actions.open_and_unload import ConeSeen
from firings.calculations.cone_packs import pack_around
from firings.calculations.witness_cones import cone_c
from firings.models import Booking, Firing

BENDS_OVER_C = 20.0
BOTTOM_COOLER_C = 6.0
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


def cones_seen(scene: Scene, firing: Firing, true_heat_c: float) -> list[ConeSeen]:
    """Guide, firing cone and guard on the lowest and the highest layer, bent by what they saw.

    The floor of a kiln stays a little cooler than its top.
    """
    layers = sorted({layer.position for layer in firing.layers.all()}) or [1]
    seen = []
    for layer in dict.fromkeys((layers[0], layers[-1])):
        cooler_c = BOTTOM_COOLER_C if layer == 1 and len(layers) > 1 else 0.0
        reached_c = true_heat_c - cooler_c + scene.dice.gauss(0, 1.5)
        for cone in pack_around(firing.cone):
            seen.append(ConeSeen(layer, cone, _bend(cone, reached_c)))
    return seen


def _bend(cone: str, reached_c: float) -> Decimal:
    """A cone bends over its last 20 C, at 60 C an hour."""
    share = 1 - (cone_c(cone) - reached_c) / BENDS_OVER_C
    return Decimal(round(20 * min(1.0, max(0.0, share)))) / 20


def outcomes_of(scene: Scene, booking: Booking) -> dict[int, tuple[str, str]]:
    """The pieces that did not come out sound, and what is wrong with them."""
    return {
        piece.pk: scene.dice.choices(FAULTS, weights=WEIGHTS[booking.stage])[0]
        for piece in booking.pieces.all()
        if scene.is_chance(FAULTY_SHARE)
    }
