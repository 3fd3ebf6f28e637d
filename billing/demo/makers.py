"""What members do: book ware, take it back, fetch it, glaze it, book it again."""

from __future__ import annotations

from datetime import datetime, timedelta
from functools import partial

from billing.demo.people import CLASS, MAKERS
from billing.demo.scene import Scene, day_of
from billing.demo.ware import Batch, some_batch, some_glazes
from firings.actions.book import PieceRequest, book_ware
from firings.actions.bookings import collect_booking, withdraw_booking
from firings.models import Booking, BookingState, Clay, Firing, FiringState, Outcome
from firings.refusals import WareRefusal
from studio.models import Person

# Members hold back while the ware boards are full.
BOARDS_ARE_FULL_MM2 = 2_600_000
FIRST_BATCH_WITHIN_DAYS = 9
DAYS_BETWEEN = (11, 26)
DAYS_BETWEEN_CLASSES = (6, 8)


class Makers:
    """The members' side of the story."""

    def __init__(self, scene: Scene) -> None:
        self.scene = scene
        self.shelved_count = 0

    def begin(self) -> None:
        for key in MAKERS:
            day = self.scene.day(self.scene.dice.randint(1, FIRST_BATCH_WITHIN_DAYS))
            self.scene.timeline.plan(self.scene.some_time(day), partial(self.make, key))

    def make(self, key: str, at: datetime) -> None:
        """A batch of greenware, and some days later the next one."""
        person = self.scene.people.get(key)
        if person is not None and not person.is_active:
            return
        days = DAYS_BETWEEN_CLASSES if key == CLASS else DAYS_BETWEEN
        wait = self.scene.dice.randint(*days)
        if person is None or self._boards_are_full():
            wait = 3
        else:
            self.book_green(person, at, is_class=key == CLASS)
        next_at = self.scene.some_time(day_of(at, wait))
        self.scene.timeline.plan(next_at, partial(self.make, key))

    def _boards_are_full(self) -> bool:
        areas = Booking.objects.waiting().values_list("charged_area_mm2", flat=True)
        return sum(areas) > BOARDS_ARE_FULL_MM2

    def book_green(self, person: Person, at: datetime, *, is_class: bool = False) -> Booking:
        batch = some_batch(self.scene, is_class=is_class)
        booking = self.book(person, at, "bisque", batch, dry_in_days=self.scene.dice.randint(0, 6))
        if self.scene.is_chance(0.04):
            later = at + timedelta(hours=self.scene.dice.randint(2, 30))
            self.scene.timeline.plan(later, partial(self._withdraw, person, booking.pk))
        return booking

    def book_glazed(self, person: Person, batch: Batch, at: datetime) -> None:
        """The same pots again, glazed; gone when their maker has left."""
        if person.is_active:
            self.book(person, at, "glaze", batch, dry_in_days=self.scene.dice.randint(0, 2))

    def book(
        self,
        person: Person,
        at: datetime,
        stage: str,
        batch: Batch,
        *,
        dry_in_days: int,
        in_queue: bool = False,
    ) -> Booking:
        """On an announced firing when there is one with room, else, or if asked, in the queue."""
        cone = batch.bisque_cone if stage == "bisque" else batch.glaze_cone
        wanted = {
            "by": person,
            "at": at,
            "stage": stage,
            "cone": cone,
            "clay": batch.clay,
            "glazes": some_glazes(self.scene, cone) if stage == "glaze" else [],
            "dry_on": day_of(at, dry_in_days),
            "note": batch.note,
            **batch.sizes,
        }
        announced = Firing.objects.filter(stage=stage, cone=cone, state=FiringState.OPEN)
        for firing in announced.order_by("planned_for")[: 0 if in_queue else 1]:
            try:
                return book_ware(firing=firing, **wanted)
            except WareRefusal:
                break  # full, or sooner than the ware is dry: the queue takes it
        return book_ware(**wanted)

    def _withdraw(self, person: Person, pk: int, at: datetime) -> None:
        booking = Booking.objects.get(pk=pk)
        if booking.state == BookingState.WAITING:
            withdraw_booking(by=person, at=at, booking=booking)

    def has_shelved(self, booking: Booking, at: datetime) -> None:
        """Ware is on the pick-up shelf: most is fetched within days, some is forgotten."""
        self.shelved_count += 1
        if self.shelved_count % 40 == 1:
            return
        days = self.scene.dice.choices((0, 1, 2, 4, 7, 13, 19), weights=(2, 8, 8, 7, 5, 2, 1))[0]
        fetched_at = self.scene.some_time(day_of(at, days), 10, 21)
        fetched_at = max(fetched_at, at + timedelta(hours=1))
        self.scene.timeline.plan(fetched_at, partial(self.fetch, booking.pk))

    def fetch(self, pk: int, at: datetime) -> None:
        booking = Booking.objects.select_related("member", "clay").get(pk=pk)
        person = booking.member
        by = self.scene.crew() if not person.is_active or self.scene.is_chance(0.2) else person
        collect_booking(by=by, at=at, booking=booking)
        batch = whole_ware(booking)
        if booking.stage == "bisque" and batch is not None:
            later = self.scene.some_time(day_of(at, self.scene.dice.randint(2, 9)))
            self.scene.timeline.plan(later, partial(self.book_glazed, person, batch))


def whole_ware(booking: Booking) -> Batch | None:
    """What of a booking is left to be glazed; None when nothing is."""
    clay: Clay = booking.clay
    if booking.shelf_fraction:
        return Batch(clay, shelf_fraction=booking.shelf_fraction)
    pieces = tuple(
        PieceRequest(piece.name, piece.shape, piece.across_mm or 0, piece.height_mm, piece.depth_mm)
        for piece in booking.pieces.all()
        if piece.outcome == Outcome.SOUND
    )
    return Batch(clay, pieces) if pieces else None
