"""Bookings: a member's claim to shelf space, piece by piece, and its way to the shelf."""

from __future__ import annotations

from datetime import date

from django.db import models
from django.db.models import Q

from firings.models.ware import FootprintShape
from studio.models import Person, Role


class Stage(models.TextChoices):
    BISQUE = "bisque", "Bisque"
    GLAZE = "glaze", "Glaze"


class BookingState(models.TextChoices):
    WAITING = "waiting", "Waiting"
    PLACED = "placed", "In a load"
    FIRED = "fired", "Fired"
    READY = "ready", "Ready to collect"
    COLLECTED = "collected", "Collected"
    WITHDRAWN = "withdrawn", "Withdrawn"
    DECLINED = "declined", "Declined"
    LOST = "lost", "Lost"


class DeclineReason(models.TextChoices):
    WET = "wet", "Not dry"
    UNKNOWN_CLAY = "unknown_clay", "Unknown clay or glaze"
    WRONG_CONE = "wrong_cone", "Wrong cone"
    NO_SLIP = "no_slip", "No slip"
    OTHER = "other", "Another reason"


class ShelfFraction(models.TextChoices):
    QUARTER = "quarter", "A quarter shelf"
    HALF = "half", "Half a shelf"
    FULL = "full", "A full shelf"


class BookingQuerySet(models.QuerySet["Booking"]):
    def waiting(self) -> BookingQuerySet:
        return self.filter(state=BookingState.WAITING)

    def dry_by(self, day: date) -> BookingQuerySet:
        """Bookings whose ware is said to be dry on `day`."""
        return self.filter(dry_on__lte=day)

    def in_queue(self, stage: str, cone: str) -> BookingQuerySet:
        """What waits for a firing of `stage` to `cone`, first come first, unpromised."""
        return self.waiting().filter(stage=stage, cone=cone, firing=None).order_by("pk")

    def visible_to(self, person: Person) -> BookingQuerySet:
        """A member sees the bookings of the shared account; crew and staff see all."""
        if person.has_role(Role.CREW, Role.MANAGER, Role.TREASURER):
            return self
        return self.filter(Q(member=person) | Q(account=person.account_id))


class Booking(models.Model):
    """One member's ware of one stage and cone, known by the code on its slip.

    While `waiting`, `firing` is set only when the booking is on an announced firing.
    The number a booking is known by in accounts is its primary key.
    """

    slip = models.CharField(max_length=8, unique=True)
    member = models.ForeignKey("studio.Person", on_delete=models.PROTECT, related_name="bookings")
    account = models.ForeignKey("studio.Account", on_delete=models.PROTECT, related_name="bookings")
    state = models.CharField(max_length=9, choices=BookingState, default=BookingState.WAITING)
    stage = models.CharField(max_length=6, choices=Stage)
    cone = models.CharField(max_length=4)
    clay = models.ForeignKey("firings.Clay", on_delete=models.PROTECT, related_name="+")
    glazes = models.ManyToManyField("firings.Glaze", blank=True, related_name="+")
    dry_on = models.DateField()
    firing = models.ForeignKey(
        "firings.Firing", null=True, blank=True, on_delete=models.PROTECT, related_name="bookings"
    )
    # booked on this very firing, or put in by crew: the planner may not leave it out for others
    is_promised = models.BooleanField(default=False)
    shelf_fraction = models.CharField(max_length=7, choices=ShelfFraction, blank=True)
    charged_area_mm2 = models.PositiveBigIntegerField()
    booked_area_mm2 = models.PositiveBigIntegerField()
    dryness_confirmed_by = models.ForeignKey(
        "studio.Person", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    decline_reason = models.CharField(max_length=12, choices=DeclineReason, blank=True)
    note = models.TextField(blank=True)
    booked_at = models.DateTimeField()
    pick_up_place = models.CharField(max_length=60, blank=True)
    ready_at = models.DateTimeField(null=True, blank=True)
    pick_up_by = models.DateField(null=True, blank=True)
    collected_at = models.DateTimeField(null=True, blank=True)

    objects = BookingQuerySet.as_manager()

    class Meta:
        ordering = ["-booked_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(state__in=BookingState.values), name="booking_state_is_known"
            ),
            models.CheckConstraint(
                condition=Q(charged_area_mm2__gt=0, booked_area_mm2__gt=0),
                name="booking_has_an_area",
            ),
            models.CheckConstraint(
                condition=~Q(state__in=["placed", "fired", "ready", "collected"])
                | Q(firing__isnull=False),
                name="placed_booking_has_its_firing",
            ),
            models.CheckConstraint(
                condition=~Q(state__in=["withdrawn", "declined"]) | Q(firing__isnull=True),
                name="withdrawn_booking_is_in_no_load",
            ),
            models.CheckConstraint(
                condition=Q(is_promised=False) | Q(firing__isnull=False),
                name="promised_booking_has_its_firing",
            ),
            models.CheckConstraint(
                condition=~Q(state="ready") | ~Q(pick_up_place=""),
                name="ready_booking_has_its_place",
            ),
        ]
        indexes = [
            # the queue view: what waits, by stage and cone
            models.Index(fields=["state", "stage", "cone"], name="bookings_by_queue"),
        ]

    def __str__(self) -> str:
        return self.slip


class Outcome(models.TextChoices):
    SOUND = "sound", "Sound"
    CRACKED = "cracked", "Cracked"
    GLAZE_FAULT = "glaze_fault", "Glaze fault"
    STUCK = "stuck", "Stuck"
    BROKEN = "broken", "Broken"


class Piece(models.Model):
    """One pot: its footprint and height in mm, and what became of it.

    A booking of a shelf fraction has one piece without a footprint, whose height is the
    tallest ware the member will stand there.
    """

    booking = models.ForeignKey(Booking, on_delete=models.CASCADE, related_name="pieces")
    name = models.CharField(max_length=40)
    shape = models.CharField(max_length=9, choices=FootprintShape, blank=True)
    across_mm = models.PositiveIntegerField(null=True, blank=True)
    depth_mm = models.PositiveIntegerField(null=True, blank=True)
    height_mm = models.PositiveIntegerField()
    measured_at = models.DateTimeField(null=True, blank=True)
    outcome = models.CharField(max_length=11, choices=Outcome, blank=True)
    outcome_note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(height_mm__gt=0, height_mm__lte=2000),
                name="piece_height_is_possible",
            ),
            models.CheckConstraint(
                # a check that comes to NULL passes, so each branch says what must be there
                condition=Q(shape="", across_mm=None, depth_mm=None)
                | Q(
                    shape="round",
                    across_mm__isnull=False,
                    across_mm__gt=0,
                    across_mm__lte=2000,
                    depth_mm=None,
                )
                | Q(
                    shape="rectangle",
                    across_mm__isnull=False,
                    depth_mm__isnull=False,
                    across_mm__gt=0,
                    across_mm__lte=2000,
                    depth_mm__gt=0,
                    depth_mm__lte=2000,
                ),
                name="piece_size_is_possible",
            ),
        ]

    def __str__(self) -> str:
        return self.name
