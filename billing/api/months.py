"""Closed months, what closing the next one would do, and closing it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

from django.db.models import Count, Model
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.status import HTTP_201_CREATED

from billing.actions.close_month import ClosePreview, close_month, month_to_close, preview_close
from billing.actions.ledger import local_day
from billing.models import MonthClose
from firings.api.exact import ExactSerializer
from studio.api.access import holds
from studio.api.received import received
from studio.models import Role

POSSIBLE_YEARS = range(1900, 2100)  # as in the addresses of the pages


class MonthCloseSerializer(serializers.ModelSerializer[MonthClose]):
    statements_count = serializers.IntegerField(read_only=True)

    class Meta:
        model = MonthClose
        fields = ("month", "closed_at", "closed_by", "statements_count")
        read_only_fields = fields


def possible_month(day: date) -> None:
    """The calendar ends in 9999: the month after its last one cannot be named."""
    if day.year not in POSSIBLE_YEARS:
        first, last = POSSIBLE_YEARS[0], POSSIBLE_YEARS[-1]
        raise serializers.ValidationError(f"Write a month of the years {first} to {last}.")


class CloseMonthSerializer(ExactSerializer):
    month = serializers.DateField(
        validators=[possible_month], help_text="Any day of the month; its first is meant."
    )


class MonthAskedFor(serializers.Serializer[Any]):
    month = serializers.DateField(required=False, validators=[possible_month])


class HindranceSerializer(serializers.Serializer[Any]):
    code = serializers.CharField()
    message = serializers.CharField()


class IdsField(serializers.ListField):
    """Records by their ids."""

    child = serializers.IntegerField()

    def to_representation(self, records: Sequence[Model]) -> list[int]:
        return [record.pk for record in records]


class ClosePreviewSerializer(serializers.Serializer[ClosePreview]):
    """What closing a month would do. Firings and people are told by their ids."""

    month = serializers.DateField()
    can_close = serializers.BooleanField()
    hindrance = HindranceSerializer(allow_null=True)
    statements_count = serializers.IntegerField()
    opening_minor = serializers.IntegerField()
    charges_minor = serializers.IntegerField()
    credits_minor = serializers.IntegerField()
    payments_minor = serializers.IntegerField()
    closing_minor = serializers.IntegerField()
    firings_open = IdsField()
    firings_unpriced = IdsField()
    energy_unknown = IdsField()
    members_without_account = IdsField()
    charges_not_shared = serializers.BooleanField(
        help_text="The tariff has fixed or demand charges that nobody carries yet."
    )


class MonthCloseViewSet(viewsets.GenericViewSet[MonthClose]):
    """Months that are closed, newest first."""

    queryset = MonthClose.objects.annotate(statements_count=Count("statements")).order_by("-month")
    serializer_class = MonthCloseSerializer
    permission_classes = (holds(Role.TREASURER),)

    def list(self, request: Request) -> Response:
        page = self.paginate_queryset(self.get_queryset())
        return self.get_paginated_response(MonthCloseSerializer(page, many=True).data)

    @extend_schema(request=CloseMonthSerializer, responses={201: MonthCloseSerializer})
    def create(self, request: Request) -> Response:
        """Freeze a finished month and issue its statements. This cannot be undone."""
        sent = received(CloseMonthSerializer, request)
        close = close_month(by=request.user, at=timezone.now(), month=sent["month"])
        shown = self.get_queryset().get(pk=close.pk)
        return Response(MonthCloseSerializer(shown).data, status=HTTP_201_CREATED)

    @extend_schema(
        parameters=[
            OpenApiParameter(
                "month",
                OpenApiTypes.DATE,
                description="Any day of it; left out, the month that is next to close or runs.",
            )
        ],
        responses=ClosePreviewSerializer,
        filters=False,
    )
    @action(detail=False, methods=["get"], pagination_class=None)
    def preview(self, request: Request) -> Response:
        """What closing a month would do, without doing it."""
        asked = MonthAskedFor(data=request.query_params)
        asked.is_valid(raise_exception=True)
        now = timezone.now()
        month = asked.validated_data.get("month") or month_to_close(now) or local_day(now)
        return Response(ClosePreviewSerializer(preview_close(month, now)).data)
