"""Alarms of the watch: crew and staff read them, crew and managers acknowledge them."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from firings.actions.alarms import REMARK_MAX, acknowledge_alarm
from firings.api.exact import ExactSerializer
from firings.models import STAFF, Alarm
from studio.api.access import holds
from studio.api.received import received


class AlarmSerializer(serializers.ModelSerializer[Alarm]):
    """`evidence` is plain numbers with their unit in the name; `sentence` speaks °C."""

    kiln = serializers.IntegerField(source="firing.kiln_id", read_only=True)
    evidence = serializers.DictField(child=serializers.FloatField(), read_only=True)

    class Meta:
        model = Alarm
        fields = (
            "id",
            "kiln",
            "firing",
            "kind",
            "raised_at",
            "sentence",
            "evidence",
            "acknowledged_at",
            "acknowledged_by",
            "remark",
            "cleared_at",
        )
        read_only_fields = fields


class AlarmFilterSerializer(serializers.Serializer[Any]):
    """How the list of alarms may be narrowed."""

    firing = serializers.IntegerField(min_value=1, max_value=2**31, required=False)
    kiln = serializers.IntegerField(min_value=1, max_value=2**31, required=False)
    is_open = serializers.BooleanField(required=False, allow_null=True, default=None)


class AcknowledgeSerializer(ExactSerializer):
    remark = serializers.CharField(
        max_length=REMARK_MAX, required=False, allow_blank=True, default=""
    )


class AlarmViewSet(viewsets.ReadOnlyModelViewSet[Alarm]):
    """What the watch over hot kilns has raised, the latest first."""

    queryset = Alarm.objects.select_related("firing")
    serializer_class = AlarmSerializer
    permission_classes = (holds(*STAFF),)
    lookup_value_converter = "int"

    @extend_schema(parameters=[AlarmFilterSerializer])
    def list(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Of one firing or kiln, open or over, or all."""
        asked = AlarmFilterSerializer(data=request.query_params)
        asked.is_valid(raise_exception=True)
        page = self.paginate_queryset(_narrowed(self.get_queryset(), asked.validated_data))
        return self.get_paginated_response(self.get_serializer(page, many=True).data)

    @extend_schema(request=AcknowledgeSerializer, responses=AlarmSerializer)
    @action(detail=True, methods=["post"])
    def acknowledge(self, request: Request, pk: int) -> Response:
        """Say that a person has seen it. It switches nothing."""
        sent = received(AcknowledgeSerializer, request)
        alarm = acknowledge_alarm(
            by=request.user, at=timezone.now(), alarm=self.get_object(), **sent
        )
        return Response(AlarmSerializer(alarm).data)


def _narrowed(alarms: QuerySet[Alarm], asked: dict[str, Any]) -> QuerySet[Alarm]:
    if "firing" in asked:
        alarms = alarms.filter(firing=asked["firing"])
    if "kiln" in asked:
        alarms = alarms.filter(firing__kiln=asked["kiln"])
    if asked["is_open"] is not None:
        alarms = alarms.filter(cleared_at__isnull=asked["is_open"])
    return alarms
