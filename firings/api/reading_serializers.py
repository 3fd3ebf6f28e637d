"""What the API says and takes about readings."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from firings.api.exact import ExactSerializer, MomentField
from firings.models import Reading

# Wide shapes only: what cannot be true of a kiln, the action says in words.
NUMBER = {"required": False, "allow_null": True, "min_value": -1e6, "max_value": 1e6}


class MomentSerializer(ExactSerializer):
    """One moment of a kiln. Temperatures in C, power in W, duty from 0 to 1, register in Wh."""

    at = MomentField()
    temp_c = serializers.FloatField(min_value=-1e6, max_value=1e6)
    zone2_c = serializers.FloatField(**NUMBER)
    zone3_c = serializers.FloatField(**NUMBER)
    set_point_c = serializers.FloatField(**NUMBER)
    power_w = serializers.FloatField(**{**NUMBER, "max_value": 1e9})
    duty = serializers.FloatField(**NUMBER, help_text="A fraction, not a percentage.")
    register_wh = serializers.IntegerField(
        required=False,
        allow_null=True,
        min_value=0,
        max_value=10**12,
        help_text="The meter's counter, not the energy since the last reading.",
    )
    room_c = serializers.FloatField(**NUMBER)
    control_box_c = serializers.FloatField(**NUMBER)


class ReadingSerializer(serializers.ModelSerializer[Reading]):
    class Meta:
        model = Reading
        fields = (
            "at",
            "temp_c",
            "zone2_c",
            "zone3_c",
            "set_point_c",
            "power_w",
            "duty",
            "register_wh",
            "room_c",
            "control_box_c",
            "source",
        )
        read_only_fields = fields


class CurvePointSerializer(serializers.Serializer[None]):
    at = serializers.DateTimeField()
    temp_c = serializers.FloatField()
    set_point_c = serializers.FloatField(allow_null=True)


class CurveFilterSerializer(serializers.Serializer[Any]):
    points = serializers.IntegerField(min_value=10, max_value=2000, default=400)
