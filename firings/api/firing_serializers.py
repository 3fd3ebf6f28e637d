"""What the API says and takes about firings and their loads."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from rest_framework import serializers

from firings.actions.open_and_unload import ConeSeen
from firings.api.exact import ExactSerializer, MomentField
from firings.api.kiln_serializers import CONE
from firings.calculations.witness_cones import bend_from_clock
from firings.models import (
    STAFF,
    ConePosition,
    ConeRole,
    Firing,
    FiringState,
    Kiln,
    Outcome,
    Result,
    Stage,
    WitnessCone,
)

REGISTER_WH = {"min_value": 0, "max_value": 10**12, "required": False, "allow_null": True}
REASON = {"max_length": 500, "required": False, "allow_blank": True, "default": ""}


class SegmentSerializer(ExactSerializer):
    """One ramp of a schedule, for reading: Wareboard controls no kiln."""

    rate_c_per_h = serializers.FloatField(min_value=1, max_value=2000)
    target_c = serializers.FloatField(min_value=20, max_value=1400)
    hold_minutes = serializers.IntegerField(min_value=0, max_value=60 * 48, default=0)


class WitnessConeSerializer(serializers.ModelSerializer[WitnessCone]):
    class Meta:
        model = WitnessCone
        fields = ("layer", "position", "role", "cone", "bend")
        read_only_fields = fields


class FiringSerializer(serializers.ModelSerializer[Firing]):
    """A firing without names; members read it without the note, which is for crew."""

    schedule = SegmentSerializer(many=True, read_only=True)
    witness_cones = WitnessConeSerializer(many=True, read_only=True)

    class Meta:
        model = Firing
        fields = (
            "id",
            "kiln",
            "state",
            "stage",
            "cone",
            "is_empty_first_firing",
            "planned_for",
            "schedule",
            "note",
            "started_at",
            "cooling_at",
            "cooled_at",
            "opened_at",
            "opened_at_c",
            "closed_at",
            "result",
            "reached_cone",
            "abort_reason",
            "is_kiln_fault",
            "register_start_wh",
            "register_end_wh",
            "energy_wh",
            "energy_uncertainty_wh",
            "energy_source",
            "load_kg",
            "log_count",
            "log_last_at",
            "log_last_c",
            "log_peak_c",
            "witness_cones",
        )
        read_only_fields = fields

    def to_representation(self, firing: Firing) -> dict[str, Any]:
        shown = super().to_representation(firing)
        request = self.context.get("request")
        if request and not request.user.has_role(*STAFF):
            shown["note"] = ""
        return shown


class FiringFilterSerializer(serializers.Serializer[Any]):
    """How the list of firings may be narrowed."""

    state = serializers.ChoiceField(choices=FiringState.choices, required=False)
    kiln = serializers.IntegerField(min_value=1, max_value=2**31, required=False)
    stage = serializers.ChoiceField(choices=Stage.choices, required=False)


class PlanSerializer(ExactSerializer):
    kiln = serializers.PrimaryKeyRelatedField(queryset=Kiln.objects.all())
    stage = serializers.ChoiceField(choices=Stage.choices)
    cone = serializers.ChoiceField(**CONE)
    planned_for = MomentField()
    schedule = SegmentSerializer(many=True, required=False, max_length=40)
    is_empty_first_firing = serializers.BooleanField(required=False)
    note = serializers.CharField(max_length=500, required=False, allow_blank=True)


class BookingOfLoadSerializer(ExactSerializer):
    booking = serializers.IntegerField(min_value=1, max_value=2**31)


class LeftOutSerializer(serializers.Serializer[None]):
    booking = serializers.IntegerField()
    slip = serializers.CharField()
    why = serializers.CharField()


class LoadProposalSerializer(serializers.Serializer[None]):
    """What is in the load now, and why other ware is not."""

    placed = serializers.ListField(child=serializers.IntegerField(), help_text="Booking ids.")
    left_out = LeftOutSerializer(many=True)
    warnings = serializers.ListField(child=serializers.CharField())


class PlacementSerializer(serializers.Serializer[None]):
    """A piece, or quarters of a shelf. Other members' ware has neither slip nor name."""

    piece = serializers.IntegerField()
    slip = serializers.CharField(allow_null=True)
    name = serializers.CharField(allow_null=True)
    shape = serializers.CharField(allow_blank=True)
    across_mm = serializers.IntegerField(allow_null=True)
    depth_mm = serializers.IntegerField(allow_null=True)
    height_mm = serializers.IntegerField()
    x_mm = serializers.FloatField(allow_null=True, help_text="From the chamber's middle.")
    y_mm = serializers.FloatField(allow_null=True)
    turn_deg = serializers.FloatField()
    quadrants = serializers.ListField(child=serializers.IntegerField())
    carried_by = serializers.IntegerField(
        allow_null=True, help_text="The piece it stands in, on, or in one row with, in a bisque."
    )
    stands = serializers.CharField(allow_blank=True, help_text="How it stands there, in words.")


class LayerSerializer(serializers.Serializer[None]):
    """One shelf level, counted from 1 at the bottom."""

    stack = serializers.CharField()
    position = serializers.IntegerField()
    posts_mm = serializers.ListField(child=serializers.IntegerField())
    shelf_bottom_mm = serializers.IntegerField()
    shelf_shape = serializers.CharField()
    shelf_across_mm = serializers.IntegerField()
    shelf_depth_mm = serializers.IntegerField(allow_null=True)
    cone_pack = serializers.ListField(
        child=serializers.FloatField(), allow_null=True, help_text="x in mm, y in mm, turn in °"
    )
    placements = PlacementSerializer(many=True)


class CheckItemSerializer(serializers.Serializer[None]):
    """One line of the pre-start check; overdue lines may be overridden with a reason."""

    code = serializers.CharField()
    text = serializers.CharField()
    is_overdue = serializers.BooleanField()


class StartSerializer(ExactSerializer):
    ticked = serializers.ListField(
        child=serializers.CharField(max_length=60), max_length=60, help_text="Codes of the check."
    )
    register_start_wh = serializers.IntegerField(**REGISTER_WH)
    override_reason = serializers.CharField(**REASON)


class ConeSeenSerializer(ExactSerializer):
    layer = serializers.IntegerField(min_value=1, max_value=60)
    cone = serializers.ChoiceField(**CONE)
    bend = serializers.DecimalField(
        max_digits=3,
        decimal_places=2,
        min_value=0,
        max_value=1,
        required=False,
        help_text="0 standing, 1 tip level with the base; or send `clock`",
    )
    clock = serializers.CharField(
        max_length=5,
        required=False,
        help_text="where its tip points: 12 standing, by way of 3, 6 down; such as 4:30",
    )
    role = serializers.ChoiceField(
        choices=ConeRole.choices,
        required=False,
        help_text="left out: told from the firing's cone",
    )
    position = serializers.ChoiceField(
        choices=ConePosition.choices,
        required=False,
        help_text="where on its layer, when there is more than one pack",
    )

    def validate(self, seen: dict[str, Any]) -> dict[str, Any]:
        if ("bend" in seen) == ("clock" in seen):
            raise serializers.ValidationError("Send either bend or clock.")
        clock = seen.pop("clock", None)
        if clock is not None:
            try:
                seen["bend"] = Decimal(str(bend_from_clock(clock)))
            except ValueError as error:
                raise serializers.ValidationError({"clock": [f"{error}."]}) from error
        return seen


class ConesSeenSerializer(ExactSerializer):
    cones = ConeSeenSerializer(many=True, max_length=100, required=False, default=list)

    def validate_cones(self, cones: list[dict[str, Any]]) -> list[ConeSeen]:
        return [ConeSeen(**seen) for seen in cones]


class OpenSerializer(ConesSeenSerializer):
    temp_c = serializers.FloatField(
        min_value=-20, max_value=1400, help_text="Measured just before opening."
    )
    reason = serializers.CharField(**REASON)


class OutcomeSerializer(ExactSerializer):
    piece = serializers.IntegerField(min_value=1)
    outcome = serializers.ChoiceField(choices=Outcome.choices)
    note = serializers.CharField(**{**REASON, "max_length": 200})


class PutRightSerializer(ExactSerializer):
    """Pieces that are not named stay as they were recorded."""

    place = serializers.CharField(max_length=60, allow_blank=True, default="")
    outcomes = OutcomeSerializer(many=True, required=False, default=list, max_length=100)

    def validate_outcomes(self, outcomes: list[dict[str, Any]]) -> dict[int, tuple[str, str]]:
        return {one["piece"]: (one["outcome"], one["note"]) for one in outcomes}


class ShelveSerializer(PutRightSerializer, BookingOfLoadSerializer):
    """Pieces that are not named came out sound."""


class CloseSerializer(ExactSerializer):
    result = serializers.ChoiceField(choices=Result.choices)
    reached_cone = serializers.ChoiceField(**CONE, required=False, allow_blank=True, default="")
    register_start_wh = serializers.IntegerField(**REGISTER_WH)
    register_end_wh = serializers.IntegerField(**REGISTER_WH)
    is_kiln_fault = serializers.BooleanField(default=False)


class AbortSerializer(ExactSerializer):
    reason = serializers.CharField(max_length=500)
    register_end_wh = serializers.IntegerField(**REGISTER_WH)
    is_kiln_fault = serializers.BooleanField(default=False)
