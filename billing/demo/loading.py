"""What crew see while they load: which ware waits most, what is wet, what is wider than booked."""

from __future__ import annotations

from datetime import date, datetime

from billing.demo.scene import Scene, day_of
from firings.actions.bookings import correct_piece, decline_booking
from firings.calculations.cones import cone_rank
from firings.models import Booking, DeclineReason, Firing, Kiln

# Ware weighs about half a kilogram for each litre of the room it stands in: common practice,
# no source.
KG_PER_LITRE = 0.5
POSTS_AND_CONES_KG = 4.0
WET = (DeclineReason.WET, "The feet are still cold to the cheek.")
NO_SLIP = (DeclineReason.NO_SLIP, "Nothing on the board carries this slip.")
RUN_DOWN = (DeclineReason.OTHER, "Glaze runs down to the foot: please wipe and bring again.")


def fullest_queue(kiln: Kiln, day: date) -> tuple[str, str]:
    """Stage and cone of which most dry area waits, of those the kiln may fire; else blanks."""
    waiting: dict[tuple[str, str], int] = {}
    queue = Booking.objects.waiting().dry_by(day).filter(firing=None).order_by("pk")
    for stage, cone, area_mm2 in queue.values_list("stage", "cone", "charged_area_mm2"):
        if cone_rank(cone) <= cone_rank(kiln.cone_limit):
            waiting[stage, cone] = waiting.get((stage, cone), 0) + area_mm2
    return max(waiting, key=lambda one: waiting[one]) if waiting else ("", "")


def turn_ware_away(scene: Scene, stage: str, cone: str, at: datetime) -> None:
    """Now and then something on the ware board should not be there."""
    if not scene.is_chance(0.2):
        return
    slips = list(Booking.objects.in_queue(stage, cone).dry_by(day_of(at))[:12])
    if len(slips) < 4:
        return
    why = (WET, NO_SLIP, RUN_DOWN) if stage == "glaze" else (WET, NO_SLIP)
    reason, note = scene.dice.choice(why)
    decline_booking(by=scene.crew(), at=at, booking=slips[-1], reason=reason.value, note=note)


def measure_again(scene: Scene, stage: str, cone: str, at: datetime) -> None:
    """Crew find a piece wider than it was booked."""
    if not scene.is_chance(0.35):
        return
    booking = Booking.objects.in_queue(stage, cone).filter(shelf_fraction="").first()
    piece = booking.pieces.filter(shape="round").first() if booking else None
    if piece is None or piece.across_mm is None or piece.across_mm > 250:
        return
    correct_piece(
        by=scene.crew(),
        at=at,
        piece=piece,
        shape=piece.shape,
        across_mm=piece.across_mm + scene.dice.randint(6, 22),
        height_mm=piece.height_mm + scene.dice.randint(0, 6),
    )


def weight_kg(firing: Firing) -> float:
    """A guess at what stands on the shelves, for the thermal model."""
    rows = firing.bookings.values_list(
        "pieces__across_mm", "pieces__depth_mm", "pieces__height_mm", "charged_area_mm2"
    )
    mm3 = sum(
        across_mm * (depth_mm or across_mm) * height_mm if across_mm else area_mm2 * height_mm
        for across_mm, depth_mm, height_mm, area_mm2 in rows
    )
    return POSTS_AND_CONES_KG + KG_PER_LITRE * mm3 / 1e6
