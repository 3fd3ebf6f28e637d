"""Bookings as their members read them: what it is, and whether it is dry."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Q
from django.utils import timezone

from firings.models import Booking
from firings.models.bookings import BookingQuerySet
from studio.models import Person, Studio


@dataclass(frozen=True)
class WareRow:
    """One booking in a list."""

    booking: Booking
    ware: str
    is_dry: bool


def own_bookings(person: Person) -> BookingQuerySet:
    """The bookings of the person's account, whatever roles they hold, ready for `ware_rows`."""
    mine = Booking.objects.filter(Q(member=person) | Q(account=person.account_id))
    return mine.select_related("firing__kiln", "member").prefetch_related("pieces")


def ware_rows(bookings: Iterable[Booking], studio: Studio | None = None) -> list[WareRow]:
    today = timezone.localdate(timezone=(studio or Studio.current()).zone)
    return [WareRow(booking, ware_of(booking), booking.dry_on <= today) for booking in bookings]


def ware_of(booking: Booking) -> str:
    """What the booking is, in a few words: `3 × Mug, Bowl`."""
    if booking.shelf_fraction:
        return str(booking.get_shelf_fraction_display())
    counts = Counter(piece.name for piece in booking.pieces.all())
    return ", ".join(f"{count} × {name}" if count > 1 else name for name, count in counts.items())


@dataclass(frozen=True)
class PieceLine:
    """Pieces of a booking that are alike in everything, and how many. Lengths in mm."""

    name: str
    across_mm: int | None
    depth_mm: int | None
    height_mm: int
    is_measured: bool
    outcome: str
    outcome_note: str
    count: int


def piece_lines(booking: Booking) -> list[PieceLine]:
    alike = Counter(
        (
            piece.name,
            piece.across_mm,
            piece.depth_mm,
            piece.height_mm,
            piece.measured_at is not None,
            piece.get_outcome_display(),
            piece.outcome_note,
        )
        for piece in booking.pieces.all()
    )
    return [PieceLine(*line, count) for line, count in alike.items()]
