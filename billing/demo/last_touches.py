"""The present: whatever chance has left empty gets something to look at."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from billing.demo.load_at_hand import make_a_load, reckon_the_queues
from billing.demo.makers import Makers
from billing.demo.people import MAKERS
from billing.demo.scene import Scene
from billing.demo.ware import BY_NAME, Batch
from firings.models import Booking, Clay, Firing, FiringState

QUEUES = (
    ("bisque", "04", "Saltmarsh buff"),
    ("bisque", "06", "Eelgrass porcelain"),
    ("glaze", "6", "Speckled shingle"),
    ("glaze", "10", "Driftwood stoneware"),
)
WAITING_AT_LEAST = 2
WAITING_FOR_A_LOAD = 6
ON_ANNOUNCED_AT_LEAST = 3


def settle_the_present(scene: Scene, makers: Makers, at: datetime) -> None:
    """A little more is booked where a queue or the announced firing would look empty."""
    announced = Firing.objects.filter(state=FiringState.OPEN).first()
    if announced is not None:
        for _ in range(announced.bookings.count(), ON_ANNOUNCED_AT_LEAST):
            _book(scene, makers, "glaze", "Saltmarsh buff", at)
    for _ in range(Booking.objects.in_queue("bisque", "04").count(), WAITING_FOR_A_LOAD):
        _book(scene, makers, "bisque", "Saltmarsh buff", at, in_queue=True)
    make_a_load(scene, at)
    for stage, cone, clay in QUEUES:
        for _ in range(Booking.objects.in_queue(stage, cone).count(), WAITING_AT_LEAST):
            _book(scene, makers, stage, clay, at, in_queue=True)
    reckon_the_queues(at)


def _book(
    scene: Scene, makers: Makers, stage: str, clay: str, at: datetime, *, in_queue: bool = False
) -> None:
    active = [key for key in MAKERS if key in scene.people and scene.people[key].is_active]
    name, count = scene.dice.choice((("Mug", 4), ("Small bowl", 3), ("Side plate", 2)))
    batch = Batch(Clay.objects.get(name=clay), (replace(BY_NAME[name], count=count),))
    makers.book(scene.pick(active), at, stage, batch, dry_in_days=0, in_queue=in_queue)
