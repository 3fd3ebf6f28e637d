"""Firings, their readings and what witness cones showed."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from firings.models.bookings import Booking, Stage
from studio.models import Person, Role

STAFF = (Role.CREW, Role.MANAGER, Role.TREASURER)


class FiringState(models.TextChoices):
    PLANNED = "planned", "Planned"
    OPEN = "open", "Announced"
    LOADING = "loading", "Loading"
    FIRING = "firing", "Firing"
    COOLING = "cooling", "Cooling"
    COOLED = "cooled", "At its opening limit"
    OPENED = "opened", "Opened"
    CLOSED = "closed", "Closed"
    CANCELLED = "cancelled", "Cancelled"
    ABORTED = "aborted", "Broken off"


# A kiln is taken from the first ware put in until it is opened again.
KILN_IS_TAKEN = ("loading", "firing", "cooling", "cooled")


class Result(models.TextChoices):
    REACHED = "reached", "Reached its cone"
    UNDER = "under", "Under-fired"
    OVER = "over", "Over-fired"


def _holding_ware_of(person: Person) -> models.QuerySet[Booking, int | None]:
    return Booking.objects.visible_to(person).exclude(firing=None).values_list("firing", flat=True)


class FiringQuerySet(models.QuerySet["Firing"]):
    def taking_the_kiln(self) -> FiringQuerySet:
        return self.filter(state__in=KILN_IS_TAKEN)

    def running(self) -> FiringQuerySet:
        """Firings whose kiln is hot: firing or cooling."""
        return self.filter(state__in=[FiringState.FIRING, FiringState.COOLING])

    def visible_to(self, person: Person) -> FiringQuerySet:
        """A plan that is not announced is seen by crew and staff, and by whose ware is in it."""
        if person.has_role(*STAFF):
            return self
        return self.filter(~Q(state=FiringState.PLANNED) | Q(pk__in=_holding_ware_of(person)))

    def readable_by(self, person: Person) -> FiringQuerySet:
        """The log of a firing is for crew and staff, and for members whose ware is in it."""
        return self if person.has_role(*STAFF) else self.filter(pk__in=_holding_ware_of(person))

    def taking_bookings(self) -> FiringQuerySet:
        return self.filter(state=FiringState.OPEN)


class Firing(models.Model):
    """One firing of one kiln, from plan to pick-up shelf. Energy in Wh, temperatures in C.

    The `watch_…` fields are what the watch carries along, and what it goes by.
    `promised_plan` is a load that holds all that was promised space, layer by layer.
    The `log_…` fields are the summary of the readings, kept up to date as they come.
    """

    kiln = models.ForeignKey("firings.Kiln", on_delete=models.PROTECT, related_name="firings")
    state = models.CharField(max_length=9, choices=FiringState, default=FiringState.PLANNED)
    stage = models.CharField(max_length=6, choices=Stage)
    cone = models.CharField(max_length=4)
    is_empty_first_firing = models.BooleanField(default=False)
    planned_for = models.DateTimeField()
    schedule = models.JSONField(default=list)
    note = models.TextField(blank=True)
    planned_by = models.ForeignKey(
        "studio.Person", null=True, on_delete=models.PROTECT, related_name="+"
    )

    # counts every change of the load: who plans compares it before writing
    load_revision = models.PositiveIntegerField(default=0)

    promised_plan = models.JSONField(default=list)

    start_check = models.JSONField(default=list)
    started_by = models.ForeignKey(
        "studio.Person", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    started_at = models.DateTimeField(null=True, blank=True)
    cooling_at = models.DateTimeField(null=True, blank=True)
    cooled_at = models.DateTimeField(null=True, blank=True)
    opened_at = models.DateTimeField(null=True, blank=True)
    opened_by = models.ForeignKey(
        "studio.Person", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    opened_at_c = models.FloatField(null=True, blank=True)
    opening_reason = models.TextField(blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)
    result = models.CharField(max_length=7, choices=Result, blank=True)
    reached_cone = models.CharField(max_length=4, blank=True)
    abort_reason = models.TextField(blank=True)
    is_kiln_fault = models.BooleanField(default=False)

    register_start_wh = models.PositiveBigIntegerField(null=True, blank=True)
    register_end_wh = models.PositiveBigIntegerField(null=True, blank=True)
    energy_wh = models.PositiveBigIntegerField(null=True, blank=True)
    energy_uncertainty_wh = models.PositiveBigIntegerField(null=True, blank=True)
    energy_source = models.CharField(max_length=20, blank=True)
    energy_working = models.JSONField(default=dict)
    load_kg = models.FloatField(null=True, blank=True, help_text="ware as it goes in, weighed")

    watch_state = models.JSONField(default=dict)
    watch_plan = models.JSONField(default=dict)
    log_summary = models.JSONField(default=dict)
    log_count = models.PositiveIntegerField(default=0)
    log_last_at = models.DateTimeField(null=True, blank=True)
    log_last_c = models.FloatField(null=True, blank=True)
    log_peak_c = models.FloatField(null=True, blank=True)

    objects = FiringQuerySet.as_manager()

    class Meta:
        ordering = ["-planned_for", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(state__in=FiringState.values), name="firing_state_is_known"
            ),
            models.UniqueConstraint(
                fields=["kiln"],
                condition=Q(state__in=KILN_IS_TAKEN),
                name="one_active_firing_per_kiln",
                violation_error_message="This kiln is taken by another firing.",
            ),
            models.CheckConstraint(
                condition=~Q(state__in=["firing", "cooling", "cooled", "opened", "closed"])
                | Q(started_at__isnull=False),
                name="started_firing_has_its_time",
            ),
            models.CheckConstraint(
                condition=Q(register_start_wh=None)
                | Q(register_end_wh=None)
                | Q(register_end_wh__gte=models.F("register_start_wh")),
                name="meter_runs_forward",
                violation_error_message="The meter's end reading is below its start reading.",
            ),
            models.CheckConstraint(
                condition=Q(load_kg=None) | Q(load_kg__gt=0, load_kg__lte=2000),
                name="weighed_load_weighs_something",
                violation_error_message="A load weighs more than 0 and at most 2000 kg.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_stage_display()} firing {self.pk} to cone {self.cone}"


class ReadingSource(models.TextChoices):
    LOGGER = "logger", "Logger"
    FILE = "file", "Log file"
    HAND = "hand", "By hand"


class Reading(models.Model):
    """One moment of a kiln: temperatures in C, power in W, register in Wh, UTC."""

    firing = models.ForeignKey(Firing, on_delete=models.CASCADE, related_name="readings")
    at = models.DateTimeField()
    temp_c = models.FloatField()
    zone2_c = models.FloatField(null=True, blank=True)
    zone3_c = models.FloatField(null=True, blank=True)
    set_point_c = models.FloatField(null=True, blank=True)
    power_w = models.FloatField(null=True, blank=True)
    duty = models.FloatField(null=True, blank=True)
    register_wh = models.BigIntegerField(null=True, blank=True)
    room_c = models.FloatField(null=True, blank=True)
    control_box_c = models.FloatField(null=True, blank=True)
    source = models.CharField(max_length=6, choices=ReadingSource)

    class Meta:
        ordering = ["at"]
        constraints = [
            models.UniqueConstraint(fields=["firing", "at"], name="one_reading_per_moment"),
        ]

    def __str__(self) -> str:
        return f"{self.temp_c:.0f} °C at {self.at:%Y-%m-%d %H:%M}"


class LogStretch(models.Model):
    """A stretch of a firing's log by the clock, with the readings that show its shape.

    points: [microseconds since 1970, then the fields of a reading], see log_stretches.py.
    """

    firing = models.ForeignKey(Firing, on_delete=models.CASCADE, related_name="log_stretches")
    starts_at = models.DateTimeField()
    points = models.JSONField()

    class Meta:
        ordering = ["starts_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["firing", "starts_at"], name="one_stretch_of_a_log_per_moment"
            ),
        ]

    def __str__(self) -> str:
        return f"log of {self.firing_id} from {self.starts_at:%Y-%m-%d %H:%M}"


class KeptSummary(models.Model):
    """A firing's summary as it stood after the reading at `at`: late readings start over here."""

    firing = models.ForeignKey(Firing, on_delete=models.CASCADE, related_name="kept_summaries")
    at = models.DateTimeField()
    summary = models.JSONField()

    class Meta:
        ordering = ["at"]
        constraints = [
            models.UniqueConstraint(fields=["firing", "at"], name="one_kept_summary_per_moment"),
        ]

    def __str__(self) -> str:
        return f"summary of {self.firing_id} at {self.at:%Y-%m-%d %H:%M}"


class ConeRole(models.TextChoices):
    """A cone's part in a pack of three, one cone apart (suppliers and an encyclopaedia)."""

    GUIDE = "guide", "Guide"
    FIRING = "firing", "Firing"
    GUARD = "guard", "Guard"


class ConePosition(models.TextChoices):
    """Where on its layer a pack stood; empty for one that nobody told apart."""

    LEFT = "left", "Left"
    RIGHT = "right", "Right"
    FRONT = "front", "Front"
    BACK = "back", "Back"


class WitnessCone(models.Model):
    """What a witness cone on a layer showed when the kiln was opened.

    Cones that were read before roles and positions were written down have neither.
    """

    firing = models.ForeignKey(Firing, on_delete=models.CASCADE, related_name="witness_cones")
    layer = models.PositiveSmallIntegerField(default=1)
    position = models.CharField(max_length=5, choices=ConePosition, blank=True)
    role = models.CharField(max_length=6, choices=ConeRole, blank=True)
    cone = models.CharField(max_length=4)
    bend = models.DecimalField(
        max_digits=3, decimal_places=2, help_text="0 standing, 1 tip level with the base"
    )

    class Meta:
        ordering = ["layer", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["firing", "layer", "position", "cone"], name="each_cone_read_once"
            ),
            models.CheckConstraint(condition=Q(bend__gte=0, bend__lte=1), name="bend_is_0_to_1"),
            models.CheckConstraint(
                condition=Q(role__in=["", *ConeRole.values]), name="cone_role_is_known"
            ),
            models.CheckConstraint(
                condition=Q(position__in=["", *ConePosition.values]),
                name="cone_position_is_known",
            ),
        ]

    def __str__(self) -> str:
        return f"cone {self.cone} on layer {self.layer}: {self.bend}"
