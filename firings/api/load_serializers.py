"""What the API says and takes about the making of a load. Lengths in mm, areas in mm2."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from firings.api.exact import ExactSerializer, length_mm
from firings.models import SearchState, WhyOut

STACKS = ["whole", "left", "right"]
PLACE = {"min_value": -2000, "max_value": 2000, "required": False, "allow_null": True}


class LevelSerializer(ExactSerializer):
    """One shelf level: its tower, and its number from 1 at the bottom."""

    stack = serializers.ChoiceField(choices=STACKS, default="whole")
    position = serializers.IntegerField(min_value=1, max_value=60)


class PieceOfLoadSerializer(ExactSerializer):
    piece = serializers.IntegerField(min_value=1, max_value=2**31)


class MovePieceSerializer(LevelSerializer):
    """Without `x_mm` and `y_mm` the nearest free place of the layer is taken."""

    piece = serializers.IntegerField(min_value=1, max_value=2**31)
    x_mm = serializers.FloatField(**PLACE, help_text="Right of the chamber's middle.")
    y_mm = serializers.FloatField(**PLACE, help_text="Behind the chamber's middle.")


class TurnPieceSerializer(PieceOfLoadSerializer):
    turn_deg = serializers.IntegerField(
        min_value=-180, max_value=180, help_text="Counter-clockwise, added to its present turn."
    )


class SwapPiecesSerializer(PieceOfLoadSerializer):
    other = serializers.IntegerField(min_value=1, max_value=2**31)


class LockPieceSerializer(PieceOfLoadSerializer):
    is_locked = serializers.BooleanField()


class LockLayerSerializer(LevelSerializer):
    is_locked = serializers.BooleanField()


class LayerHeightSerializer(LevelSerializer):
    posts_mm = serializers.ListField(
        child=length_mm(),
        min_length=1,
        max_length=4,
        allow_null=True,
        help_text="The posts on this layer, under the shelf above; null: the planner chooses.",
    )


class KeepRoomSerializer(LevelSerializer):
    """Without `x_mm` and `y_mm` it is kept where it fits."""

    width_mm = length_mm()
    depth_mm = length_mm()
    height_mm = length_mm()
    x_mm = serializers.FloatField(**PLACE)
    y_mm = serializers.FloatField(**PLACE)


class GiveRoomBackSerializer(LevelSerializer):
    number = serializers.IntegerField(min_value=1, max_value=99, help_text="Counted from 1.")


class KeptRoomSerializer(serializers.Serializer[None]):
    width_mm = serializers.IntegerField()
    depth_mm = serializers.IntegerField()
    height_mm = serializers.IntegerField()
    x_mm = serializers.FloatField()
    y_mm = serializers.FloatField()
    turn_deg = serializers.FloatField()


class LayerHoldSerializer(serializers.Serializer[None]):
    """What crew have decided about one level. `posts_mm` are those under its shelf."""

    stack = serializers.CharField()
    position = serializers.IntegerField()
    posts_mm = serializers.ListField(child=serializers.IntegerField(), allow_null=True)
    is_whole = serializers.BooleanField(help_text="Locked as it stands, with nothing added.")
    keep_free = KeptRoomSerializer(many=True)


class StaysOutSerializer(serializers.Serializer[None]):
    booking = serializers.IntegerField()
    slip = serializers.CharField()
    why = serializers.ChoiceField(choices=WhyOut.choices)
    told = serializers.CharField(help_text="The reason as a sentence.")


class SearchSerializer(serializers.Serializer[None]):
    """The latest search: no load can hold more than `bound_mm2`."""

    state = serializers.ChoiceField(choices=SearchState.choices)
    steps = serializers.IntegerField()
    area_mm2 = serializers.IntegerField()
    bound_mm2 = serializers.IntegerField()
    within_percent = serializers.IntegerField(help_text="Of the best possible.")
    seconds = serializers.FloatField()
    warnings = serializers.ListField(child=serializers.CharField())


class LoadChangesSerializer(serializers.Serializer[None]):
    """Slips that are different from before the load was last planned."""

    came_in = serializers.ListField(child=serializers.CharField())
    went_out = serializers.ListField(child=serializers.CharField())
    moved = serializers.ListField(child=serializers.CharField())


class LoadStateSerializer(serializers.Serializer[Any]):
    """How a load stands beside its layout: what crew hold, what stays out, how good it is."""

    revision = serializers.IntegerField(help_text="Counts every change of the load.")
    locked_pieces = serializers.ListField(child=serializers.IntegerField())
    holds = LayerHoldSerializer(many=True)
    kept_out = serializers.ListField(child=serializers.CharField(), help_text="Slips.")
    stays_out = StaysOutSerializer(many=True)
    search = SearchSerializer(allow_null=True)
    changes = LoadChangesSerializer(allow_null=True)
