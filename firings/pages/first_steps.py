"""What a studio sets up about its kilns and its ware before the first booking."""

from __future__ import annotations

from collections.abc import Iterable

from firings.models import Clay, FiringPolicy, Glaze, Kiln, KilnPart, PieceSize
from studio.pages.first_steps import FirstStep


def firings_first_steps() -> Iterable[FirstStep]:
    policy = FiringPolicy.current()
    yield FirstStep(
        "Add a kiln with its shelves",
        "From its plate and a tape measure. A new kiln is fired empty first.",
        "firings:kilns",
        Kiln.objects.exists(),
        100,
    )
    yield FirstStep(
        "Note what wears out in the kiln",
        "Elements, relays, thermocouple, shelves: each firing puts a little aside for them.",
        "firings:kilns",
        KilnPart.objects.exists(),
        110,
    )
    yield FirstStep(
        "Name the cones you fire to, and the pick-up shelves",
        "Members choose from these cones; crew from these places.",
        "firings:policy",
        bool(policy.bisque_cones and policy.glaze_cones and policy.pick_up_places),
        120,
    )
    yield FirstStep(
        "List clays, glazes and usual sizes",
        "With their cones: too hot a firing of the wrong clay ruins shelves.",
        "firings:palette",
        Clay.objects.exists() and Glaze.objects.exists() and PieceSize.objects.exists(),
        130,
    )
