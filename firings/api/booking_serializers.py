"""What the API says and takes about bookings and their pieces."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from firings.actions.book import PIECES_AT_MOST
from firings.api.exact import ExactSerializer, length_mm
from firings.api.kiln_serializers import CONE
from firings.calculations.footprints import GREATEST_SIZE_MM
from firings.models import (
    Booking,
    BookingForecast,
    BookingState,
    Clay,
    DeclineReason,
    Firing,
    FootprintShape,
    Glaze,
    Piece,
    ShelfFraction,
    Stage,
)
from studio.models import Person


class PieceSerializer(serializers.ModelSerializer[Piece]):
    class Meta:
        model = Piece
        fields = (
            "id",
            "name",
            "shape",
            "across_mm",
            "depth_mm",
            "height_mm",
            "measured_at",
            "outcome",
            "outcome_note",
        )
        read_only_fields = fields


class BookingMemberSerializer(serializers.ModelSerializer[Person]):
    class Meta:
        model = Person
        fields = ("id", "name")
        read_only_fields = fields


class BookingSerializer(serializers.ModelSerializer[Booking]):
    pieces = PieceSerializer(many=True, read_only=True)
    member = BookingMemberSerializer(read_only=True)
    account = serializers.SlugRelatedField(slug_field="number", read_only=True)

    class Meta:
        model = Booking
        fields = (
            "id",
            "slip",
            "state",
            "member",
            "account",
            "stage",
            "cone",
            "clay",
            "glazes",
            "dry_on",
            "firing",
            "shelf_fraction",
            "booked_area_mm2",
            "charged_area_mm2",
            "decline_reason",
            "note",
            "booked_at",
            "pick_up_place",
            "ready_at",
            "pick_up_by",
            "collected_at",
            "pieces",
        )
        read_only_fields = fields


class PieceRequestSerializer(ExactSerializer):
    """So many pieces of one kind and size."""

    name = serializers.CharField(max_length=40)
    shape = serializers.ChoiceField(choices=FootprintShape.choices)
    across_mm = length_mm(max_value=GREATEST_SIZE_MM, help_text="Diameter, or width.")
    depth_mm = length_mm(
        max_value=GREATEST_SIZE_MM,
        required=False,
        allow_null=True,
        help_text="Only of a rectangle.",
    )
    height_mm = length_mm(max_value=GREATEST_SIZE_MM)
    count = serializers.IntegerField(min_value=1, max_value=PIECES_AT_MOST, default=1)


class BookSerializer(ExactSerializer):
    """Either `pieces`, or `shelf_fraction` with the height of the tallest ware on it."""

    stage = serializers.ChoiceField(choices=Stage.choices)
    cone = serializers.ChoiceField(**CONE)
    clay = serializers.PrimaryKeyRelatedField(queryset=Clay.objects.filter(is_offered=True))
    glazes = serializers.PrimaryKeyRelatedField(
        queryset=Glaze.objects.filter(is_offered=True), many=True, required=False
    )
    dry_on = serializers.DateField(help_text="The day from which the ware is dry.")
    pieces = PieceRequestSerializer(many=True, required=False, max_length=PIECES_AT_MOST)
    shelf_fraction = serializers.ChoiceField(
        choices=ShelfFraction.choices, required=False, allow_blank=True
    )
    shelf_height_mm = length_mm(max_value=GREATEST_SIZE_MM, required=False, allow_null=True)
    firing = serializers.PrimaryKeyRelatedField(
        queryset=Firing.objects.select_related("kiln"),
        required=False,
        allow_null=True,
        help_text="An announced firing; left out, the ware waits in the queue.",
    )
    member = serializers.PrimaryKeyRelatedField(
        queryset=Person.objects.active(),
        required=False,
        help_text="For crew who book for somebody else.",
    )
    note = serializers.CharField(max_length=500, required=False, allow_blank=True)


class DeclineSerializer(ExactSerializer):
    reason = serializers.ChoiceField(choices=DeclineReason.choices)
    note = serializers.CharField(max_length=500, required=False, allow_blank=True, default="")


class MeasureSerializer(ExactSerializer):
    shape = serializers.ChoiceField(choices=FootprintShape.choices)
    across_mm = length_mm(max_value=GREATEST_SIZE_MM)
    depth_mm = length_mm(max_value=GREATEST_SIZE_MM, required=False, allow_null=True)
    height_mm = length_mm(max_value=GREATEST_SIZE_MM)


class BookingFilterSerializer(serializers.Serializer[Any]):
    """How the list of bookings may be narrowed."""

    state = serializers.ChoiceField(choices=BookingState.choices, required=False)
    stage = serializers.ChoiceField(choices=Stage.choices, required=False)
    cone = serializers.ChoiceField(**CONE, required=False)
    firing = serializers.IntegerField(min_value=1, max_value=2**31, required=False)
    slip = serializers.CharField(max_length=20, required=False)


class ForecastSerializer(serializers.ModelSerializer[BookingForecast]):
    """Half of all outcomes lie from `likely_from` to `likely_to`, nine of ten in the band."""

    class Meta:
        model = BookingForecast
        fields = ("load", "likely_from", "likely_to", "band_from", "band_to")
        read_only_fields = fields
