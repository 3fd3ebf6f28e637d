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


class Stands(models.TextChoices):
    """How a piece stands in, on or beside the one that carries it."""

    NEST = "nest", "stands in the bowl below"
    LID = "lid", "lies on its jar"
    EDGE = "edge", "stands on edge in the same row"


class Placement(models.Model):
    """Where a piece stands: middle of its footprint from the chamber's middle, in mm.

    What `is_locked` stays where it is when the load is planned again.
    A piece of a shelf-fraction booking has `quadrants` instead of a place: which of the
    four quarters of the shelf, counted counter-clockwise from the right back, are its own.
    In a bisque load a piece may be `carried_by` another, whose place it shares: it `stands` in it,
    on it, or on edge in one row with it.
    """

    layer = models.ForeignKey(Layer, on_delete=models.CASCADE, related_name="placements")
    piece = models.OneToOneField(
        "firings.Piece", on_delete=models.PROTECT, related_name="placement"
    )
    x_mm = models.FloatField(null=True, blank=True)
    y_mm = models.FloatField(null=True, blank=True)
    turn_deg = models.FloatField(default=0)
    quadrants = models.JSONField(default=list)
    is_locked = models.BooleanField(default=False)
    carried_by = models.ForeignKey(
        "firings.Piece", null=True, blank=True, on_delete=models.PROTECT, related_name="carries"
    )
    stands = models.CharField(max_length=4, choices=Stands, blank=True)

    class Meta:
        ordering = ["layer", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(carried_by=None, stands="")
                | Q(carried_by__isnull=False, stands__in=["nest", "lid", "edge"]),
                name="carried_piece_says_how_it_stands",
            ),
            models.CheckConstraint(
                condition=Q(x_mm__isnull=True, y_mm__isnull=True)
                | Q(x_mm__isnull=False, y_mm__isnull=False),
                name="placement_is_a_point_or_quadrants",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.piece} on {self.layer}"


class LayerHold(models.Model):
    """What crew have decided about one level of a load, whatever stands on it at present.

    `posts_mm`: the posts under its shelf; null leaves them to the planner. On an `is_whole` layer
    nothing is added or moved. `keep_free`: rooms for tests, each as a mapping of `width_mm`,
    `depth_mm`, `height_mm`, `x_mm`, `y_mm` and `turn_deg`.
    """

    firing = models.ForeignKey("firings.Firing", on_delete=models.CASCADE, related_name="holds")
    stack = models.CharField(max_length=8, default="whole")
    position = models.PositiveSmallIntegerField()
    posts_mm = models.JSONField(null=True, blank=True)
    is_whole = models.BooleanField(default=False)
    keep_free = models.JSONField(default=list)

    class Meta:
        ordering = ["stack", "position"]
        constraints = [
            models.UniqueConstraint(
                fields=["firing", "stack", "position"], name="one_hold_per_level"
            ),
            models.CheckConstraint(condition=Q(position__gt=0), name="held_level_is_a_level"),
        ]

    def __str__(self) -> str:
        return f"Hold on layer {self.position} ({self.stack}) of {self.firing}"


class KeptOut(models.Model):
    """A slip that crew keep out of one firing; it may go into any other."""

    firing = models.ForeignKey("firings.Firing", on_delete=models.CASCADE, related_name="kept_out")
    booking = models.ForeignKey("firings.Booking", on_delete=models.CASCADE, related_name="+")

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["firing", "booking"], name="each_slip_is_kept_out_once"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.booking} kept out of {self.firing}"


class WhyOut(models.TextChoices):
    TOO_TALL = "too_tall", "Too tall beside what is locked"
    TOO_BIG = "too_big", "Too big for this kiln"
    WRONG_CONE = "wrong_cone", "Wrong stage, cone or material"
    NOT_DRY = "not_dry", "Not dry"
    KEPT_OUT = "kept_out", "Kept out by crew"
    NO_ROOM = "no_room", "No room"
    NO_ROOM_FOR_CONES = "no_room_for_cones", "No room for witness cones beside it"


class StaysOut(models.Model):
    """A slip that the last planning of a load left out, and why.

    `limits` are those that a too big piece breaks, as [limit, sizes in mm, most in mm]; `told` is
    the sentence of a rule that refused it.
    """

    firing = models.ForeignKey("firings.Firing", on_delete=models.CASCADE, related_name="stay_out")
    booking = models.ForeignKey("firings.Booking", on_delete=models.CASCADE, related_name="+")
    why = models.CharField(max_length=17, choices=WhyOut)
    piece_name = models.CharField(max_length=40, blank=True)
    limits = models.JSONField(default=list)
    told = models.CharField(max_length=500, blank=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["firing", "booking"], name="each_slip_stays_out_for_one_reason"
            ),
            models.CheckConstraint(
                condition=Q(why__in=WhyOut.values), name="reason_to_stay_out_is_known"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.booking} stays out: {self.get_why_display().lower()}"


class SearchState(models.TextChoices):
    RUNNING = "running", "Looking for a better load"
    BEST = "best", "No load can be better"
    ENDED = "ended", "Out of ideas"
    TIME_UP = "time_up", "Time is up"
    STOPPED = "stopped", "Stopped by crew"
    OVERTAKEN = "overtaken", "Stopped, because the load was changed"


class LoadSearch(models.Model):
    """The latest search for a better load of one firing: how far it came, and from where.

    `revision` is the load's own after the last write of this search: another number on the firing
    says that somebody changed the load meanwhile. `before` is where every piece stood when the
    search began, as {piece id: [slip, stack, position, x_mm, y_mm]}. Areas in mm2.
    """

    firing = models.OneToOneField(
        "firings.Firing", on_delete=models.CASCADE, related_name="load_search"
    )
    state = models.CharField(max_length=9, choices=SearchState, default=SearchState.RUNNING)
    seed = models.PositiveIntegerField(default=1)
    revision = models.PositiveIntegerField()
    steps = models.PositiveBigIntegerField(default=0)
    score = models.FloatField(default=0)
    area_mm2 = models.PositiveBigIntegerField(default=0)
    bound_mm2 = models.PositiveBigIntegerField(default=0)
    before = models.JSONField(default=dict)
    warnings = models.JSONField(default=list)
    begun_at = models.DateTimeField()
    begun_by = models.ForeignKey(
        "studio.Person", null=True, on_delete=models.PROTECT, related_name="+"
    )
    heard_at = models.DateTimeField()

    class Meta:
        verbose_name_plural = "load searches"
        constraints = [
            models.CheckConstraint(
                condition=Q(state__in=SearchState.values), name="search_state_is_known"
            ),
            models.CheckConstraint(
                condition=Q(bound_mm2=0) | Q(bound_mm2__gte=models.F("area_mm2")),
                name="bound_is_never_below_the_load",
                violation_error_message="The best possible cannot be less than what stands there.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_state_display()}: {self.firing}"
