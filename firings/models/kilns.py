"""Kilns, their shelves and parts, their keys for loggers, and their care."""

from __future__ import annotations

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q

from studio.models import Token

POSITIVE = MinValueValidator(1)


class KilnState(models.TextChoices):
    IN_SERVICE = "in_service", "In service"
    FIRST_FIRING_DUE = "first_firing_due", "Empty first firing due"
    OUT_OF_SERVICE = "out_of_service", "Out of service"


class ChamberShape(models.TextChoices):
    ROUND = "round", "Round"
    OCTAGON = "octagon", "Octagonal"
    RECTANGLE = "rectangle", "Rectangular"


class Vent(models.TextChoices):
    NONE = "none", "No vent"
    DOWNDRAFT = "downdraft", "Downdraft vent"
    HOOD = "hood", "Hood"


class ThermocoupleType(models.TextChoices):
    K = "K", "Type K"
    S = "S", "Type S"
    R = "R", "Type R"


class ThermocoupleClass(models.TextChoices):
    STANDARD = "standard", "Standard (ASTM E230)"
    SPECIAL = "special", "Special (ASTM E230)"
    CLASS_1 = "class 1", "Class 1 (IEC 60584-1)"
    CLASS_2 = "class 2", "Class 2 (IEC 60584-1)"


class Kiln(models.Model):
    """An electric kiln as its plate and its chamber describe it. Lengths in mm."""

    name = models.CharField(max_length=60, unique=True)
    room = models.CharField(max_length=60, blank=True)
    state = models.CharField(max_length=16, choices=KilnState, default=KilnState.FIRST_FIRING_DUE)
    chamber_shape = models.CharField(max_length=9, choices=ChamberShape)
    chamber_across_mm = models.PositiveIntegerField(
        validators=[POSITIVE], help_text="diameter, across flats, or width"
    )
    chamber_depth_mm = models.PositiveIntegerField(
        null=True, blank=True, help_text="only of a rectangular chamber"
    )
    chamber_height_mm = models.PositiveIntegerField(validators=[POSITIVE])
    thermocouple_height_mm = models.PositiveIntegerField(
        null=True,
        blank=True,
        validators=[POSITIVE],
        help_text="of its tip above the floor; half the chamber's height if not known",
    )
    keep_from_wall_mm = models.PositiveSmallIntegerField(default=25)
    rated_power_w = models.PositiveIntegerField(validators=[POSITIVE])
    supply_v = models.PositiveSmallIntegerField(default=240)
    breaker_a = models.PositiveSmallIntegerField(default=60)
    vent = models.CharField(max_length=9, choices=Vent, default=Vent.NONE)
    cone_limit = models.CharField(max_length=4, default="10")
    post_heights_mm = models.JSONField(default=list)
    posts_stacked_at_most = models.PositiveSmallIntegerField(default=2)
    post_width_mm = models.PositiveSmallIntegerField(default=38)
    witness_every_firings = models.PositiveSmallIntegerField(
        default=4, validators=[POSITIVE, MaxValueValidator(50)]
    )
    meter_class_percent = models.DecimalField(max_digits=4, decimal_places=2, default=2)
    thermocouple_type = models.CharField(
        max_length=1, choices=ThermocoupleType, default=ThermocoupleType.K
    )
    thermocouple_class = models.CharField(
        max_length=8, choices=ThermocoupleClass, default=ThermocoupleClass.STANDARD
    )
    in_use_since = models.DateField(null=True, blank=True)
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(
                condition=Q(
                    thermocouple_type__in=ThermocoupleType.values,
                    thermocouple_class__in=ThermocoupleClass.values,
                ),
                name="thermocouple_is_of_a_known_type_and_class",
            ),
            models.CheckConstraint(
                condition=Q(chamber_across_mm__gt=0, chamber_height_mm__gt=0, rated_power_w__gt=0),
                name="kiln_has_a_size_and_power",
            ),
            models.CheckConstraint(
                condition=~Q(chamber_shape="rectangle")
                | Q(chamber_depth_mm__isnull=False, chamber_depth_mm__gt=0),
                name="rectangular_chamber_has_a_depth",
                violation_error_message="A rectangular chamber needs its depth.",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def thermocouple_grade(self) -> str:
        """Type and class together, as the tolerances are listed: "K standard"."""
        return f"{self.thermocouple_type} {self.thermocouple_class}"


class ShelfShape(models.TextChoices):
    ROUND = "round", "Round"
    HALF_ROUND = "half_round", "Half-round"
    RECTANGLE = "rectangle", "Rectangular"
    OCTAGON = "octagon", "Octagonal"


class ShelfSet(models.Model):
    """Shelves of one shape and size that belong to a kiln. Half-rounds stand in pairs.

    Loads are planned with the standard set; older sets stay for the loads that stood on them.
    """

    kiln = models.ForeignKey(Kiln, on_delete=models.CASCADE, related_name="shelf_sets")
    shape = models.CharField(max_length=10, choices=ShelfShape)
    across_mm = models.PositiveIntegerField(
        validators=[POSITIVE], help_text="diameter, across flats, or width"
    )
    depth_mm = models.PositiveIntegerField(null=True, blank=True)
    thickness_mm = models.PositiveSmallIntegerField(default=16, validators=[POSITIVE])
    count = models.PositiveSmallIntegerField(default=4, validators=[POSITIVE])
    is_standard = models.BooleanField(default=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["kiln"], condition=Q(is_standard=True), name="one_standard_shelf_set"
            ),
            models.CheckConstraint(
                condition=Q(across_mm__gt=0, thickness_mm__gt=0, count__gt=0),
                name="shelf_has_a_size",
            ),
            models.CheckConstraint(
                condition=~Q(shape="rectangle") | Q(depth_mm__isnull=False, depth_mm__gt=0),
                name="rectangular_shelf_has_a_depth",
                violation_error_message="A rectangular shelf needs its depth.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.count} × {self.get_shape_display().lower()} {self.across_mm} mm"


class PartKind(models.TextChoices):
    ELEMENT = "element", "Elements"
    RELAY = "relay", "Relays"
    THERMOCOUPLE = "thermocouple", "Thermocouple"
    SHELF = "shelf", "Shelves"
    BRICK = "brick", "Bricks"
    KILN_WASH = "kiln_wash", "Kiln wash"


class LifeUnit(models.TextChoices):
    WEIGHTED_HOURS = "weighted_hours", "hours, weighted to 1200 °C"
    FIRINGS = "firings", "firings"


class Alloy(models.TextChoices):
    """What element wire is made of; each wears at its own pace at each temperature."""

    A1 = "a1", "A-1"
    AF = "af", "AF"
    AE = "ae", "AE"


class KilnPart(models.Model):
    """A part that wears: its replacement cost, expected life and how life is counted.

    `alloy` weighs the hours of a part whose life is counted in weighted hours.
    """

    kiln = models.ForeignKey(Kiln, on_delete=models.CASCADE, related_name="parts")
    kind = models.CharField(max_length=12, choices=PartKind)
    name = models.CharField(max_length=80)
    replacement_cost_minor = models.PositiveBigIntegerField()
    life_unit = models.CharField(max_length=14, choices=LifeUnit)
    expected_life = models.DecimalField(max_digits=9, decimal_places=2)
    alloy = models.CharField(max_length=2, choices=Alloy, default=Alloy.A1)
    fitted_on = models.DateField()
    retired_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["kiln", "kind", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(expected_life__gt=0), name="part_has_an_expected_life"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.name} of {self.kiln}"

    @property
    def is_weighed_by_alloy(self) -> bool:
        return self.kind == PartKind.ELEMENT and self.life_unit == LifeUnit.WEIGHTED_HOURS


class KilnToken(Token):
    """A logger's or meter's key to post readings for one kiln."""

    kiln = models.ForeignKey(Kiln, on_delete=models.CASCADE, related_name="tokens")

    def __str__(self) -> str:
        return f"{self.name} on {self.kiln}"


class LogLayout(models.Model):
    """How the last log file of a kiln was read: its columns as a person confirmed them.

    layout: delimiter, decimal mark, first line, columns; see log_columns.py. titles: those of the
    file, by which the next one is known.
    """

    kiln = models.OneToOneField(Kiln, on_delete=models.CASCADE, related_name="log_layout")
    layout = models.JSONField()
    titles = models.JSONField()
    confirmed_at = models.DateTimeField()
    confirmed_by = models.ForeignKey(
        "studio.Person", null=True, on_delete=models.PROTECT, related_name="+"
    )

    def __str__(self) -> str:
        return f"log layout of {self.kiln}"


class CareKind(models.TextChoices):
    VACUUM = "vacuum", "Vacuum the kiln"
    FIRST_FIRING = "first_firing", "Fire empty to cone 04 with a witness cone"
    REPAIR = "repair", "Repair"


class CareTask(models.Model):
    """Something the kiln needs; the next start asks about what is still open."""

    kiln = models.ForeignKey(Kiln, on_delete=models.CASCADE, related_name="care_tasks")
    kind = models.CharField(max_length=12, choices=CareKind)
    note = models.TextField(blank=True)
    due_since = models.DateTimeField()
    done_at = models.DateTimeField(null=True, blank=True)
    done_by = models.ForeignKey(
        "studio.Person", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["due_since", "pk"]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}: {self.kiln}"
