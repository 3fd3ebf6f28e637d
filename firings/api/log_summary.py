"""What a firing's log amounts to: peak, rates, stages, holds, heat work, energy."""

from __future__ import annotations

from typing import Any

from django.shortcuts import get_object_or_404
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from firings.actions.log_summary import summary_of
from firings.calculations.heat_work import cone_from_heat
from firings.models import Firing


class StageTimeSerializer(serializers.Serializer[None]):
    name = serializers.CharField()
    seconds = serializers.FloatField()
    rate_c_per_h = serializers.FloatField(allow_null=True)


class LogConeSerializer(serializers.Serializer[None]):
    """The cone that the log suggests at the thermocouple, and the range; null is no cone."""

    cone = serializers.CharField(allow_null=True)
    lower = serializers.CharField(allow_null=True)
    upper = serializers.CharField(allow_null=True)
    error_c = serializers.FloatField(
        allow_null=True, help_text="Tolerance and model error at the peak, either way."
    )
    slow_s = serializers.FloatField(
        allow_null=True,
        help_text="Near the peak and slower than the cone chart covers: the model is weak there.",
    )
    thermocouple = serializers.CharField()


class LogSummarySerializer(serializers.Serializer[None]):
    """Temperatures in C, times in seconds and UTC, energy in Wh."""

    readings_count = serializers.IntegerField()
    first_at = serializers.DateTimeField(allow_null=True)
    last_at = serializers.DateTimeField(allow_null=True)
    peak_c = serializers.FloatField(allow_null=True)
    peak_at = serializers.DateTimeField(allow_null=True)
    peak_hold_seconds = serializers.FloatField()
    heating_rate_c_per_h = serializers.FloatField(allow_null=True)
    top_rate_c_per_h = serializers.FloatField(allow_null=True)
    gap_seconds = serializers.FloatField()
    stages = StageTimeSerializer(many=True)
    hot_seconds = serializers.DictField(
        child=serializers.FloatField(), help_text="Lower bound of a class of 25 C -> seconds."
    )
    extremes = serializers.DictField(
        child=serializers.ListField(child=serializers.FloatField()),
        help_text="Field of a reading -> lowest and highest.",
    )
    register_span_wh = serializers.FloatField(allow_null=True)
    power_wh = serializers.FloatField(help_text="Power over the seconds in which it is known.")
    power_seconds = serializers.FloatField()
    log_cone = LogConeSerializer()


class FiringSummaryView(APIView):
    """What the log of one firing amounts to, kept up to date as readings come."""

    permission_classes = (IsAuthenticated,)

    @extend_schema(responses=LogSummarySerializer, operation_id="firings_summary_retrieve")
    def get(self, request: Request, pk: int) -> Response:
        """Peak, rates, stages, holds, heat work and energy so far. For who may read the log."""
        readable = Firing.objects.readable_by(request.user).select_related("kiln")
        firing = get_object_or_404(readable, pk=pk)
        summary = summary_of(firing)
        grade = firing.kiln.thermocouple_grade
        estimate = cone_from_heat(summary.heat, summary.peak_c, grade)
        answer: dict[str, Any] = {
            **vars(summary),
            "stages": summary.stages(),
            "top_rate_c_per_h": summary.top_rate_c_per_h(),
            "hot_seconds": {str(low_c): s for low_c, s in summary.hot_seconds.items()},
            "register_span_wh": summary.register_span_wh,
            "log_cone": {
                "cone": estimate.cone,
                "lower": estimate.lower,
                "upper": estimate.upper,
                "error_c": estimate.basis.error_c if estimate.basis else None,
                "slow_s": estimate.basis.slow_s if estimate.basis else None,
                "thermocouple": grade,
            },
        }
        return Response(LogSummarySerializer(answer).data)
