"""The load of a firing: layers of shelves on posts, and where each piece stands."""

from __future__ import annotations

from django.db import models
from django.db.models import Q


class Layer(models.Model):
    """One shelf level of a load, counted from 1 at the bottom; `posts_mm` are those under it.

    `cone_pack` is where the witness cones stand, as [x_mm, y_mm, turn_deg]; null for none.
    """

    firing = models.ForeignKey("firings.Firing", on_delete=models.CASCADE, related_name="layers")
    stack = models.CharField(max_length=8, default="whole")
    position = models.PositiveSmallIntegerField()
    shelf_set = models.ForeignKey("firings.ShelfSet", on_delete=models.PROTECT, related_name="+")
    posts_mm = models.JSONField(default=list)
    shelf_bottom_mm = models.PositiveIntegerField(default=0)
    cone_pack = models.JSONField(null=True, blank=True)

    class Meta:
        ordering = ["stack", "position"]
        constraints = [
            models.UniqueConstraint(
                fields=["firing", "stack", "position"], name="one_layer_per_level"
            ),
        ]

    def __str__(self) -> str:
        return f"Layer {self.position} ({self.stack}) of {self.firing}"


class Placement(models.Model):
    """Where a piece stands: middle of its footprint from the chamber's middle, in mm.

    A piece of a shelf-fraction booking has `quadrants` instead of a place: which of the
    four quarters of the shelf, counted counter-clockwise from the right back, are its own.
    """

    layer = models.ForeignKey(Layer, on_delete=models.CASCADE, related_name="placements")
    piece = models.OneToOneField(
        "firings.Piece", on_delete=models.PROTECT, related_name="placement"
    )
    x_mm = models.FloatField(null=True, blank=True)
    y_mm = models.FloatField(null=True, blank=True)
    turn_deg = models.FloatField(default=0)
    quadrants = models.JSONField(default=list)

    class Meta:
        ordering = ["layer", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(x_mm__isnull=True, y_mm__isnull=True)
                | Q(x_mm__isnull=False, y_mm__isnull=False),
                name="placement_is_a_point_or_quadrants",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.piece} on {self.layer}"
