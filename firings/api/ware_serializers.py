"""What the API says and takes about clays, glazes, sizes, rules and queues."""

from __future__ import annotations

from rest_framework import serializers

from firings.actions.ware import LISTS, POLICY_RANGES, SWITCHES
from firings.api.exact import ExactSerializer, length_mm
from firings.api.kiln_serializers import CONE
from firings.calculations.footprints import GREATEST_SIZE_MM
from firings.models import Clay, FiringPolicy, FootprintShape, Glaze, PieceSize

NOTE = {"max_length": 2000, "required": False, "allow_blank": True}


class ClaySerializer(serializers.ModelSerializer[Clay]):
    class Meta:
        model = Clay
        fields = (
            "id",
            "name",
            "cone_low",
            "cone_high",
            "bisque_cone_low",
            "bisque_cone_high",
            "is_offered",
            "note",
        )
        read_only_fields = fields


class GlazeSerializer(serializers.ModelSerializer[Glaze]):
    class Meta:
        model = Glaze
        fields = ("id", "name", "cone_low", "cone_high", "is_offered", "note")
        read_only_fields = fields


class PieceSizeSerializer(serializers.ModelSerializer[PieceSize]):
    class Meta:
        model = PieceSize
        fields = (
            "id",
            "name",
            "shape",
            "across_mm",
            "depth_mm",
            "height_mm",
            "position",
            "is_offered",
        )
        read_only_fields = fields


class GlazeEditSerializer(ExactSerializer):
    name = serializers.CharField(max_length=80)
    cone_low = serializers.ChoiceField(**CONE)
    cone_high = serializers.ChoiceField(**CONE)
    is_offered = serializers.BooleanField(required=False)
    note = serializers.CharField(**NOTE)


class ClayEditSerializer(GlazeEditSerializer):
    bisque_cone_low = serializers.ChoiceField(**CONE, required=False)
    bisque_cone_high = serializers.ChoiceField(**CONE, required=False)


class PieceSizeEditSerializer(ExactSerializer):
    name = serializers.CharField(max_length=40)
    shape = serializers.ChoiceField(choices=FootprintShape.choices)
    across_mm = length_mm(max_value=GREATEST_SIZE_MM)
    depth_mm = length_mm(max_value=GREATEST_SIZE_MM, required=False, allow_null=True)
    height_mm = length_mm(max_value=GREATEST_SIZE_MM)
    position = serializers.IntegerField(min_value=0, max_value=999, required=False)
    is_offered = serializers.BooleanField(required=False)


class PolicySerializer(serializers.ModelSerializer[FiringPolicy]):
    class Meta:
        model = FiringPolicy
        fields = (*POLICY_RANGES, *SWITCHES, *LISTS)
        extra_kwargs = {
            name: {"min_value": low, "max_value": high}
            for name, (low, high) in POLICY_RANGES.items()
        }

    bisque_cones = serializers.ListField(child=serializers.ChoiceField(**CONE), max_length=40)
    glaze_cones = serializers.ListField(child=serializers.ChoiceField(**CONE), max_length=40)
    pick_up_places = serializers.ListField(
        child=serializers.CharField(max_length=60), max_length=100
    )


class QueueSerializer(serializers.Serializer[None]):
    """What waits for a firing of one stage and cone, on no announced firing yet."""

    stage = serializers.CharField()
    cone = serializers.CharField()
    bookings = serializers.IntegerField()
    area_mm2 = serializers.IntegerField()
    dry_bookings = serializers.IntegerField(help_text="Dry today, in the studio's time zone.")
    dry_area_mm2 = serializers.IntegerField()
