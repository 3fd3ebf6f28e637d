"""All that the chart of a firing shows, in one answer: what the page of a firing draws."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.shortcuts import get_object_or_404
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from firings.actions.firing_chart import (
    EARLIER_MAX,
    POINTS_USUAL,
    EarlierCurve,
    FiringChart,
    chart_of,
)
from firings.api.cooling_serializers import BandPointSerializer
from firings.api.exact import MomentField
from firings.calculations.log_stretches import POINTS_MIN
from firings.calculations.reading_columns import US_PER_S, ReadingColumns
from firings.models import Alarm, Firing, FiringState


class ChartFilterSerializer(serializers.Serializer[Any]):
    """What is asked for: all of it, or only what is new."""

    since = MomentField(required=False, help_text="Only readings after this moment.")
    points = serializers.IntegerField(min_value=POINTS_MIN, max_value=2000, default=POINTS_USUAL)


class ChartReadingsSerializer(serializers.Serializer[None]):
    """Columns of equal length. A column that nobody measured is left out; null is no value."""

    at_unix_s = serializers.ListField(child=serializers.FloatField())
    temp_c = serializers.ListField(child=serializers.FloatField())
    zone2_c = serializers.ListField(child=serializers.FloatField(allow_null=True), required=False)
    zone3_c = serializers.ListField(child=serializers.FloatField(allow_null=True), required=False)
    set_point_c = serializers.ListField(
        child=serializers.FloatField(allow_null=True), required=False
    )


class StageBandSerializer(serializers.Serializer[None]):
    """A stage shaded between two temperatures; until_at is null where it runs on."""

    name = serializers.CharField(help_text="drying, burn_off, quartz or top")
    low_c = serializers.FloatField()
    high_c = serializers.FloatField()
    from_at = serializers.DateTimeField()
    until_at = serializers.DateTimeField(allow_null=True)


class ChartAlarmSerializer(serializers.ModelSerializer[Alarm]):
    words = serializers.CharField(source="get_kind_display", read_only=True)

    class Meta:
        model = Alarm
        fields = ("id", "kind", "words", "raised_at", "cleared_at")
        read_only_fields = fields


class EarlierCurveSerializer(serializers.Serializer[None]):
    """A closed or opened firing of the same schedule, cone and kiln."""

    firing = serializers.IntegerField()
    words = serializers.CharField()
    started_at = serializers.DateTimeField()
    seconds = serializers.ListField(child=serializers.FloatField(), help_text="since its own start")
    temp_c = serializers.ListField(child=serializers.FloatField())


class FiringChartSerializer(serializers.Serializer[None]):
    """Temperatures in C, times in UTC, or in seconds since 1970 where the name says so."""

    firing = serializers.IntegerField()
    state = serializers.ChoiceField(choices=FiringState.choices)
    at = serializers.DateTimeField(help_text="The moment of this answer.")
    is_whole = serializers.BooleanField(help_text="false: only what came after `since`")
    started_at = serializers.DateTimeField(allow_null=True)
    cooling_at = serializers.DateTimeField(allow_null=True)
    opened_at = serializers.DateTimeField(allow_null=True)
    limit_c = serializers.FloatField(help_text="The studio's opening limit.")
    readings = ChartReadingsSerializer()
    stages = StageBandSerializer(many=True)
    band = BandPointSerializer(
        many=True, help_text="The cooling forecast: 8 of 10 ways lie between low and high."
    )
    alarms = ChartAlarmSerializer(many=True, help_text="For crew and staff; for others empty.")
    earlier = EarlierCurveSerializer(
        many=True, help_text=f"At most {EARLIER_MAX}, latest first; empty with `since`."
    )


class FiringChartView(APIView):
    """The chart of one firing."""

    permission_classes = (IsAuthenticated,)

    @extend_schema(
        parameters=[ChartFilterSerializer],
        responses=FiringChartSerializer,
        operation_id="firings_chart_retrieve",
    )
    def get(self, request: Request, pk: int) -> Response:
        """Curve, stages, forecast band, alarms and earlier firings. For who may read the log."""
        readable = Firing.objects.readable_by(request.user).select_related("kiln")
        firing = get_object_or_404(readable, pk=pk)
        asked = ChartFilterSerializer(data=request.query_params)
        asked.is_valid(raise_exception=True)
        chart = chart_of(
            firing,
            reader=request.user,
            at=timezone.now(),
            since=asked.validated_data.get("since"),
            points_max=asked.validated_data["points"],
        )
        return Response(FiringChartSerializer(_of_chart(chart)).data)


def _of_chart(chart: FiringChart) -> Mapping[str, Any]:
    firing = chart.firing
    return {
        **vars(chart),
        "firing": firing.pk,
        "state": firing.state,
        "started_at": firing.started_at,
        "cooling_at": firing.cooling_at,
        "opened_at": firing.opened_at,
        "readings": _columns(chart.readings),
        "earlier": [_of_earlier(one) for one in chart.earlier],
    }


def _columns(readings: ReadingColumns) -> dict[str, list[Any]]:
    columns = {name: _rounded(readings.known(name)) for name in readings.values}
    return {"at_unix_s": (readings.at_us / US_PER_S).tolist(), **columns}


def _rounded(column: list[float | None]) -> list[float | None]:
    return [None if value is None else round(value, 1) for value in column]


def _of_earlier(earlier: EarlierCurve) -> dict[str, Any]:
    firing, readings = earlier.firing, earlier.readings
    started_s = firing.started_at.timestamp() if firing.started_at else 0.0
    return {
        "firing": firing.pk,
        "words": str(firing),
        "started_at": firing.started_at,
        "seconds": (readings.at_us / US_PER_S - started_s).round().tolist(),
        "temp_c": _rounded(readings.known("temp_c")),
    }
