"""Fixed and demand charges of months: what sharing one would do, share it, take it back."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.db.models import Prefetch
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers, viewsets
from rest_framework.decorators import action
from rest_framework.permissions import BasePermission
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.status import HTTP_201_CREATED

from billing.actions.preview_month_charges import SharingPreview, preview_month_charges
from billing.actions.share_month_charges import reverse_month_charges, share_month_charges
from billing.api.months import CloseMonthSerializer, HindranceSerializer, IdsField
from billing.api.of_account import OfAccountViewSet
from billing.models import ChargeKind, MonthChargeLine, MonthCharges, MonthChargeShare
from firings.api.exact import ReasonSerializer
from studio.api.access import holds
from studio.api.received import received
from studio.models import Role


class MonthChargeLineSerializer(serializers.ModelSerializer[MonthChargeLine]):
    class Meta:
        model = MonthChargeLine
        fields = ("kind", "text", "tariff", "amount_minor", "working")
        read_only_fields = fields


class MonthChargeShareSerializer(serializers.ModelSerializer[MonthChargeShare]):
    account = serializers.SlugRelatedField(slug_field="number", read_only=True)
    month = serializers.DateField(source="charges.month", read_only=True)

    class Meta:
        model = MonthChargeShare
        fields = ("id", "charges", "month", "account", "amount_minor", "working")
        read_only_fields = fields


class MonthChargesSerializer(serializers.ModelSerializer[MonthCharges]):
    lines = MonthChargeLineSerializer(many=True, read_only=True)
    shares = MonthChargeShareSerializer(many=True, read_only=True)
    studio_parts = serializers.ListField(child=serializers.DictField(), read_only=True)

    class Meta:
        model = MonthCharges
        fields = (
            "id",
            "month",
            "total_minor",
            "studio_minor",
            "studio_parts",
            "entry",
            "made_at",
            "reversed_at",
            "lines",
            "shares",
        )
        read_only_fields = fields


class PreviewLineSerializer(serializers.Serializer[Any]):
    kind = serializers.ChoiceField(choices=ChargeKind.choices)
    text = serializers.CharField()
    amount_minor = serializers.IntegerField()
    working = serializers.DictField()


class PreviewShareSerializer(serializers.Serializer[Any]):
    account = serializers.IntegerField(source="account.number")
    amount_minor = serializers.IntegerField()
    working = serializers.DictField()


class StudioPartSerializer(serializers.Serializer[Any]):
    reason = serializers.CharField()
    amount_minor = serializers.IntegerField()


class SharingPreviewSerializer(serializers.Serializer[SharingPreview]):
    """Who would carry a month's charges. Firings without a cost take no part."""

    month = serializers.DateField()
    hindrance = HindranceSerializer(allow_null=True)
    total_minor = serializers.IntegerField()
    members_minor = serializers.IntegerField()
    studio_minor = serializers.IntegerField()
    lines = PreviewLineSerializer(many=True)
    shares = PreviewShareSerializer(many=True)
    studio_parts = StudioPartSerializer(many=True)
    firings_unpriced = IdsField()


class MonthChargesViewSet(viewsets.ReadOnlyModelViewSet[MonthCharges]):
    """What was shared, the newest month first; what was taken back too."""

    queryset = MonthCharges.objects.prefetch_related(
        "lines",
        Prefetch("shares", MonthChargeShare.objects.select_related("account", "charges")),
    )
    serializer_class = MonthChargesSerializer
    lookup_value_converter = "int"

    def get_permissions(self) -> list[BasePermission]:
        if self.action in ("list", "retrieve"):
            return [holds(Role.TREASURER, Role.MANAGER)()]
        return [holds(Role.TREASURER)()]

    @extend_schema(request=CloseMonthSerializer, responses={201: MonthChargesSerializer})
    def create(self, request: Request) -> Response:
        """Share the charges of a finished month, once."""
        sent = received(CloseMonthSerializer, request)
        charges = share_month_charges(by=request.user, at=timezone.now(), month=sent["month"])
        return Response(self._shown(charges), status=HTTP_201_CREATED)

    @extend_schema(request=ReasonSerializer, responses=MonthChargesSerializer)
    @action(detail=True, methods=["post"])
    def reverse(self, request: Request, pk: int) -> Response:
        """Take back what was shared, with a reason; the month can be shared again."""
        sent = received(ReasonSerializer, request)
        charges = reverse_month_charges(
            by=request.user, at=timezone.now(), charges=self.get_object(), **sent
        )
        return Response(self._shown(charges))

    @extend_schema(
        parameters=[
            OpenApiParameter(
                "month", OpenApiTypes.DATE, required=True, description="Any day of it."
            )
        ],
        responses=SharingPreviewSerializer,
        filters=False,
    )
    @action(detail=False, methods=["get"], pagination_class=None)
    def preview(self, request: Request) -> Response:
        """Who would carry what, without posting it."""
        asked = CloseMonthSerializer(data=request.query_params)
        asked.is_valid(raise_exception=True)
        month: date = asked.validated_data["month"]
        return Response(SharingPreviewSerializer(preview_month_charges(month, timezone.now())).data)

    def _shown(self, charges: MonthCharges) -> Any:
        return MonthChargesSerializer(self.get_queryset().get(pk=charges.pk)).data


class MonthChargeShareViewSet(OfAccountViewSet):
    """What an account carries of the charges of months, with the working."""

    queryset = MonthChargeShare.objects.select_related("account", "charges").order_by("-pk")
    serializer_class = MonthChargeShareSerializer
