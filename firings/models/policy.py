"""The rules of the trade that a manager may set. Each default names where it comes from."""

from __future__ import annotations

from django.db import models

from studio.models import SingleRow


class FiringPolicy(SingleRow):
    """Studio-wide settings of queues, loads and openings."""

    # 125 F: common practice, no source (published rules range from 50 to 100 C)
    opening_limit_c = models.FloatField(default=52)
    # a quarter inch between glazed pieces: a kiln maker's guide
    glaze_gap_mm = models.PositiveSmallIntegerField(default=6)
    # bisque ware may touch: the same guide
    bisque_gap_mm = models.PositiveSmallIntegerField(default=0)
    # bisque ware may nest and stack: the same guide. Off until the studio has chosen.
    bowls_nested_at_most = models.PositiveSmallIntegerField(default=1)
    lids_on_jars = models.BooleanField(default=False)
    tiles_on_edge = models.BooleanField(default=False)
    # half an inch under the bottom shelf: the same guide. 13 mm is 12.7 mm rounded up.
    lowest_post_mm = models.PositiveSmallIntegerField(default=13)
    # half an inch between the tallest piece and what is above it: the same guide
    gap_above_mm = models.PositiveSmallIntegerField(default=13)
    gap_to_posts_mm = models.PositiveSmallIntegerField(default=5)
    # a kiln room guide: control faults above 100 F, a board cut-out at 160 F
    room_limit_c = models.FloatField(default=38)
    control_box_limit_c = models.FloatField(default=66)
    # how the planner weighs a day's wait, and after how long a wait goes before everything else:
    # ours, no source
    wait_percent_per_day = models.PositiveSmallIntegerField(default=2)
    waits_at_most_days = models.PositiveSmallIntegerField(default=28)
    # how long a search for a better load goes on: ours, no source
    search_seconds_at_most = models.PositiveSmallIntegerField(default=30)
    # the same few cones every studio fires: what a member may choose
    bisque_cones = models.JSONField(default=list)
    glaze_cones = models.JSONField(default=list)
    pick_up_places = models.JSONField(default=list)

    class Meta:
        verbose_name_plural = "firing policies"
        constraints = [models.CheckConstraint(condition=models.Q(pk=1), name="one_firing_policy")]

    def __str__(self) -> str:
        return "Firing policy"

    @property
    def limits_around_kiln_c(self) -> dict[str, float]:
        """What the watch over room and control box goes by."""
        return {
            "room_limit_c": self.room_limit_c,
            "control_box_limit_c": self.control_box_limit_c,
        }

    def gap_mm(self, stage: str) -> int:
        """The clear distance between two pieces of a firing of `stage`."""
        return self.glaze_gap_mm if stage == "glaze" else self.bisque_gap_mm
