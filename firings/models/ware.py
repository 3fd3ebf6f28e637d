"""What members make and of what: clays, glazes and the palette of usual sizes."""

from __future__ import annotations

from django.db import models
from django.db.models import Q


class ConeRange(models.Model):
    """The cones a material may be fired to, coldest and hottest included."""

    name = models.CharField(max_length=80, unique=True)
    cone_low = models.CharField(max_length=4)
    cone_high = models.CharField(max_length=4)
    is_offered = models.BooleanField(default=True)
    note = models.TextField(blank=True)

    class Meta:
        abstract = True
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class Clay(ConeRange):
    """A clay body. Its bisque range says to which cones it may be bisque fired."""

    bisque_cone_low = models.CharField(max_length=4, default="08")
    bisque_cone_high = models.CharField(max_length=4, default="04")


class Glaze(ConeRange):
    """A glaze the studio knows."""


class FootprintShape(models.TextChoices):
    ROUND = "round", "Round"
    RECTANGLE = "rectangle", "Rectangular"


class PieceSize(models.Model):
    """One button of the size palette: a usual kind of ware with its usual size in mm."""

    name = models.CharField(max_length=40, unique=True)
    shape = models.CharField(max_length=9, choices=FootprintShape)
    across_mm = models.PositiveIntegerField(help_text="diameter or width")
    depth_mm = models.PositiveIntegerField(null=True, blank=True)
    height_mm = models.PositiveIntegerField()
    position = models.PositiveSmallIntegerField(default=0)
    is_offered = models.BooleanField(default=True)

    class Meta:
        ordering = ["position", "name"]
        constraints = [
            models.CheckConstraint(
                condition=Q(across_mm__gt=0, height_mm__gt=0), name="palette_size_is_positive"
            ),
            models.CheckConstraint(
                condition=~Q(shape="rectangle") | Q(depth_mm__isnull=False, depth_mm__gt=0),
                name="rectangular_palette_size_has_a_depth",
                violation_error_message="A rectangular size needs its depth.",
            ),
        ]

    def __str__(self) -> str:
        return self.name
