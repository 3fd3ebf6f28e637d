"""What the API says and takes about kilns, shelves, parts, care and keys."""

from __future__ import annotations

from rest_framework import serializers

from firings.actions.kilns import KILN_FIELDS, POSTS_STACKED, SHELVES_COUNT
from firings.actions.watch import LIMIT_RANGES, MAY_BE_EMPTY
from firings.api.exact import ExactSerializer, length_mm
from firings.calculations.cones import CONES
from firings.models import (
    Alloy,
    CareTask,
    ChamberShape,
    Firing,
    Kiln,
    KilnPart,
    KilnToken,
    LifeUnit,
    PartKind,
    ShelfSet,
    ShelfShape,
    ThermocoupleClass,
    ThermocoupleType,
    Vent,
)

CONE_CHOICES = [(cone, cone) for cone in CONES]
CONE = {"choices": CONE_CHOICES}


class ShelfSetSerializer(serializers.ModelSerializer[ShelfSet]):
    class Meta:
        model = ShelfSet
        fields = ("shape", "across_mm", "depth_mm", "thickness_mm", "count", "is_standard")
        read_only_fields = fields


class CareTaskSerializer(serializers.ModelSerializer[CareTask]):
    class Meta:
        model = CareTask
        fields = ("id", "kind", "note", "due_since", "done_at")
        read_only_fields = fields


class KilnSerializer(serializers.ModelSerializer[Kiln]):
    shelf_sets = ShelfSetSerializer(many=True, read_only=True)
    open_care = CareTaskSerializer(many=True, read_only=True)
    post_heights_mm = serializers.ListField(child=serializers.IntegerField(), read_only=True)

    class Meta:
        model = Kiln
        fields = ("id", "state", *KILN_FIELDS, "shelf_sets", "open_care")
        read_only_fields = fields


class ShelvesWantedSerializer(ExactSerializer):
    shape = serializers.ChoiceField(choices=ShelfShape.choices)
    across_mm = length_mm()
    depth_mm = length_mm(required=False, allow_null=True)
    thickness_mm = length_mm(max_value=60)
    count = serializers.IntegerField(min_value=SHELVES_COUNT[0], max_value=SHELVES_COUNT[1])


class KilnEditSerializer(ExactSerializer):
    name = serializers.CharField(max_length=60)
    room = serializers.CharField(max_length=60, required=False, allow_blank=True)
    chamber_shape = serializers.ChoiceField(choices=ChamberShape.choices)
    chamber_across_mm = length_mm(min_value=100)
    chamber_depth_mm = length_mm(min_value=100, required=False, allow_null=True)
    chamber_height_mm = length_mm(min_value=100)
    thermocouple_height_mm = length_mm(required=False, allow_null=True)
    keep_from_wall_mm = length_mm(min_value=0, max_value=200, required=False)
    rated_power_w = serializers.IntegerField(min_value=500, max_value=200_000)
    supply_v = serializers.IntegerField(min_value=100, max_value=1000, required=False)
    breaker_a = serializers.IntegerField(min_value=5, max_value=1000, required=False)
    vent = serializers.ChoiceField(choices=Vent.choices, required=False)
    cone_limit = serializers.ChoiceField(**CONE, required=False)
    post_heights_mm = serializers.ListField(
        child=length_mm(min_value=5, max_value=600), min_length=1, max_length=20
    )
    posts_stacked_at_most = serializers.IntegerField(
        min_value=POSTS_STACKED[0], max_value=POSTS_STACKED[1], required=False
    )
    post_width_mm = length_mm(min_value=10, max_value=150, required=False)
    witness_every_firings = serializers.IntegerField(min_value=1, max_value=50, required=False)
    meter_class_percent = serializers.DecimalField(
        max_digits=4, decimal_places=2, min_value=0, max_value=10, required=False
    )
    thermocouple_type = serializers.ChoiceField(choices=ThermocoupleType.choices, required=False)
    thermocouple_class = serializers.ChoiceField(choices=ThermocoupleClass.choices, required=False)
    in_use_since = serializers.DateField(required=False, allow_null=True)
    note = serializers.CharField(max_length=2000, required=False, allow_blank=True)


class NewKilnSerializer(KilnEditSerializer):
    shelves = ShelvesWantedSerializer()


class ReturnSerializer(ExactSerializer):
    needs_first_firing = serializers.BooleanField(default=True)
    reason = serializers.CharField(max_length=500, required=False, allow_blank=True, default="")


class PartSerializer(serializers.ModelSerializer[KilnPart]):
    class Meta:
        model = KilnPart
        fields = (
            "id",
            "kind",
            "name",
            "replacement_cost_minor",
            "life_unit",
            "expected_life",
            "alloy",
            "fitted_on",
            "retired_on",
        )
        read_only_fields = fields


class NewPartSerializer(ExactSerializer):
    kind = serializers.ChoiceField(choices=PartKind.choices)
    name = serializers.CharField(max_length=80)
    replacement_cost_minor = serializers.IntegerField(min_value=0, max_value=10**9)
    life_unit = serializers.ChoiceField(choices=LifeUnit.choices)
    expected_life = serializers.DecimalField(
        max_digits=9, decimal_places=2, min_value=1, max_value=100_000
    )
    alloy = serializers.ChoiceField(
        choices=Alloy.choices,
        required=False,
        default=Alloy.A1,
        help_text="Of elements counted in weighted hours.",
    )
    fitted_on = serializers.DateField()


class ReplacePartSerializer(ExactSerializer):
    reason = serializers.CharField(max_length=500, required=False, allow_blank=True, default="")
    cost_minor = serializers.IntegerField(
        min_value=0,
        max_value=10**9,
        required=False,
        help_text="What it cost; left out: what was expected. The wear reserve pays it.",
    )


class KilnKeySerializer(serializers.ModelSerializer[KilnToken]):
    class Meta:
        model = KilnToken
        fields = ("id", "name", "created_at", "last_used_at", "revoked_at")
        read_only_fields = fields


class NewKilnKeySerializer(ExactSerializer):
    name = serializers.CharField(max_length=80)


class KilnKeyMadeSerializer(KilnKeySerializer):
    secret = serializers.CharField(help_text="Shown this once.")

    class Meta(KilnKeySerializer.Meta):
        fields = (*KilnKeySerializer.Meta.fields, "secret")
        read_only_fields = fields


class FiringNowSerializer(serializers.ModelSerializer[Firing]):
    class Meta:
        model = Firing
        fields = (
            "id",
            "state",
            "stage",
            "cone",
            "started_at",
            "cooling_at",
            "cooled_at",
            "log_count",
            "log_last_at",
            "log_last_c",
            "log_peak_c",
        )
        read_only_fields = fields


class KilnNowSerializer(serializers.Serializer[None]):
    """What was measured last. Whether a kiln may be opened, crew decide at the kiln."""

    id = serializers.IntegerField()
    name = serializers.CharField()
    state = serializers.CharField()
    firing = FiringNowSerializer(allow_null=True, help_text="null: nothing is in the kiln")
    opening_limit_c = serializers.FloatField()


def _threshold(name: str) -> serializers.Field:  # type: ignore[type-arg]
    low, high = LIMIT_RANGES[name]
    if name.endswith("_c"):
        return serializers.FloatField(
            min_value=low, max_value=high, allow_null=name in MAY_BE_EMPTY
        )
    return serializers.IntegerField(min_value=int(low), max_value=int(high))


class WatchLimitsSerializer(ExactSerializer):
    """When the watch speaks: differences and limits in °C, times in minutes, shares in percent.

    Room and control box without a limit of their own (null) go by the studio's firing policy.
    """

    stall_percent = _threshold("stall_percent")
    stall_minutes = _threshold("stall_minutes")
    off_set_point_c = _threshold("off_set_point_c")
    off_set_point_minutes = _threshold("off_set_point_minutes")
    overshoot_c = _threshold("overshoot_c")
    fall_c = _threshold("fall_c")
    no_data_minutes = _threshold("no_data_minutes")
    late_percent = _threshold("late_percent")
    top_margin_c = _threshold("top_margin_c")
    zone_spread_c = _threshold("zone_spread_c")
    room_limit_c = _threshold("room_limit_c")
    control_box_limit_c = _threshold("control_box_limit_c")
