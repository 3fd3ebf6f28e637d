"""Electricity bills, and how much of each was recovered."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers, viewsets
from rest_framework.decorators import action
from rest_framework.permissions import BasePermission
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.status import HTTP_201_CREATED

from billing.actions.recovery import Recovered, recovery
from billing.actions.utility_bills import (
    AMOUNT_MINOR_MAX,
    ENERGY_WH_MAX,
    REFERENCE_LENGTH_MAX,
    pay_utility_bill,
    record_utility_bill,
    reverse_utility_bill,
)
from billing.models import BillSettlement, UtilityBill
from firings.api.exact import ExactSerializer, ReasonSerializer
from studio.api.access import holds
from studio.api.received import received
from studio.models import Role


class UtilityBillSerializer(serializers.ModelSerializer[UtilityBill]):
    is_paid = serializers.BooleanField(read_only=True)

    class Meta:
        model = UtilityBill
        fields = (
            "id",
            "first_day",
            "last_day",
            "billed_on",
            "energy_wh",
            "amount_minor",
            "tax_minor",
            "reference",
            "settlement",
            "is_paid",
            "entry",
            "paid_entry",
            "recorded_at",
            "reversed_at",
        )
        read_only_fields = fields


class NewUtilityBillSerializer(ExactSerializer):
    first_day = serializers.DateField()
    last_day = serializers.DateField(help_text="Included.")
    billed_on = serializers.DateField()
    energy_wh = serializers.IntegerField(min_value=0, max_value=ENERGY_WH_MAX)
    amount_minor = serializers.IntegerField(min_value=1, max_value=AMOUNT_MINOR_MAX)
    tax_minor = serializers.IntegerField(
        min_value=0, max_value=AMOUNT_MINOR_MAX, default=0, help_text="Part of the amount."
    )
    reference = serializers.CharField(
        max_length=REFERENCE_LENGTH_MAX, required=False, allow_blank=True, default=""
    )
    settlement = serializers.ChoiceField(
        choices=BillSettlement.choices, default=BillSettlement.LATER
    )


class PaidBillSerializer(ExactSerializer):
    paid_on = serializers.DateField()


class RecoveredSerializer(serializers.Serializer[Recovered]):
    """A bill beside the firings of its days. The difference is lights, wheels and rounding."""

    bill = UtilityBillSerializer()
    firings_count = serializers.IntegerField()
    firings_wh = serializers.IntegerField()
    other_wh = serializers.IntegerField(help_text="Billed, and used by no firing.")
    members_minor = serializers.IntegerField()
    studio_minor = serializers.IntegerField()
    other_minor = serializers.IntegerField(help_text="Billed, and carried by no firing.")
    months_shared = serializers.ListField(child=serializers.DateField())


class UtilityBillViewSet(viewsets.ReadOnlyModelViewSet[UtilityBill]):
    """Electricity bills as they came, the newest first; those taken back too."""

    queryset = UtilityBill.objects.all()
    serializer_class = UtilityBillSerializer
    lookup_value_converter = "int"

    def get_permissions(self) -> list[BasePermission]:
        if self.action in ("list", "retrieve", "recovery"):
            return [holds(Role.TREASURER, Role.MANAGER)()]
        return [holds(Role.TREASURER)()]

    @extend_schema(request=NewUtilityBillSerializer, responses={201: UtilityBillSerializer})
    def create(self, request: Request) -> Response:
        """Enter a bill. A day that another bill covers is refused."""
        sent = received(NewUtilityBillSerializer, request)
        bill = record_utility_bill(by=request.user, at=timezone.now(), **sent)
        return Response(UtilityBillSerializer(bill).data, status=HTTP_201_CREATED)

    @extend_schema(request=PaidBillSerializer, responses=UtilityBillSerializer)
    @action(detail=True, methods=["post"])
    def pay(self, request: Request, pk: int) -> Response:
        """Write down that a bill still owed was paid from the bank."""
        sent = received(PaidBillSerializer, request)
        return self._shown(
            pay_utility_bill(by=request.user, at=timezone.now(), bill=self.get_object(), **sent)
        )

    @extend_schema(request=ReasonSerializer, responses=UtilityBillSerializer)
    @action(detail=True, methods=["post"])
    def reverse(self, request: Request, pk: int) -> Response:
        """Take a bill back, and its payment, with a reason."""
        sent = received(ReasonSerializer, request)
        return self._shown(
            reverse_utility_bill(by=request.user, at=timezone.now(), bill=self.get_object(), **sent)
        )

    @extend_schema(responses=RecoveredSerializer(many=True), filters=False)
    @action(detail=False, methods=["get"], pagination_class=None)
    def recovery(self, request: Request) -> Response:
        """Each bill that stands with what the firings account for, newest first."""
        return Response(RecoveredSerializer(recovery(), many=True).data)

    def _shown(self, bill: UtilityBill) -> Response:
        data: Any = UtilityBillSerializer(bill).data
        return Response(data)
