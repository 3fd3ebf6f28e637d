"""Costs of firings: read, take back, price again."""

from __future__ import annotations

from typing import Any

from django.db.models import Prefetch
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers, viewsets
from rest_framework.decorators import action
from rest_framework.permissions import BasePermission
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.status import HTTP_201_CREATED

from billing.actions.price_firing import reprice_firing, reverse_firing_cost
from billing.api.statements import ShareSerializer
from billing.models import ChargeStep, CostLine, FiringCost, Share, SplitPolicy
from firings.api.exact import ExactSerializer, ReasonSerializer
from firings.models import Firing
from studio.api.access import holds
from studio.api.received import received
from studio.models import Role


class CostLineSerializer(serializers.ModelSerializer[CostLine]):
    class Meta:
        model = CostLine
        fields = ("kind", "text", "amount_minor", "part", "working")
        read_only_fields = fields


class ChargeStepSerializer(serializers.ModelSerializer[ChargeStep]):
    """What a rule added to a share, or took off it; a crew credit has no share."""

    account = serializers.SlugRelatedField(slug_field="number", read_only=True)

    class Meta:
        model = ChargeStep
        fields = ("kind", "text", "amount_minor", "share", "account", "membership", "working")
        read_only_fields = fields


class FiringCostSerializer(serializers.ModelSerializer[FiringCost]):
    kiln = serializers.IntegerField(source="firing.kiln_id", read_only=True)
    split_policy = serializers.ChoiceField(
        source="policy", choices=SplitPolicy.choices, read_only=True
    )

    class Meta:
        model = FiringCost
        fields = (
            "id",
            "firing",
            "kiln",
            "tariff",
            "split_policy",
            "rule",
            "pool_minor",
            "studio_minor",
            "studio_reason",
            "usable_area_mm2",
            "charged_area_mm2",
            "entry",
            "made_at",
            "reversed_at",
        )
        read_only_fields = fields


class FiringCostDetailSerializer(FiringCostSerializer):
    """With its lines and who carries them."""

    lines = CostLineSerializer(many=True, read_only=True)
    shares = ShareSerializer(many=True, read_only=True)
    steps = ChargeStepSerializer(many=True, read_only=True)

    class Meta(FiringCostSerializer.Meta):
        fields = (*FiringCostSerializer.Meta.fields, "lines", "shares", "steps")
        read_only_fields = fields


class PriceFiringSerializer(ExactSerializer):
    firing = serializers.PrimaryKeyRelatedField(
        queryset=Firing.objects.all(), help_text="A closed or broken-off firing without a cost."
    )


class FiringCostViewSet(viewsets.ReadOnlyModelViewSet[FiringCost]):
    """Costs of firings, newest first; those taken back too."""

    queryset = FiringCost.objects.select_related("firing")
    lookup_value_converter = "int"

    def get_permissions(self) -> list[BasePermission]:
        if self.action in ("list", "retrieve"):
            return [holds(Role.TREASURER, Role.MANAGER)()]
        return [holds(Role.TREASURER)()]

    def get_queryset(self) -> Any:
        shares = Share.objects.select_related("account", "booking", "cost__entry")
        costs = super().get_queryset()
        if self.action == "list":
            return costs
        steps = ChargeStep.objects.select_related("account")
        return costs.prefetch_related("lines", Prefetch("shares", shares), Prefetch("steps", steps))

    def get_serializer_class(self) -> type[FiringCostSerializer]:
        return FiringCostSerializer if self.action == "list" else FiringCostDetailSerializer

    @extend_schema(request=PriceFiringSerializer, responses={201: FiringCostDetailSerializer})
    def create(self, request: Request) -> Response:
        """Price a firing whose cost was taken back, or that was broken off without a tariff."""
        sent = received(PriceFiringSerializer, request)
        cost = reprice_firing(by=request.user, at=timezone.now(), firing=sent["firing"])
        return Response(self._shown(cost), status=HTTP_201_CREATED)

    @extend_schema(request=ReasonSerializer, responses=FiringCostDetailSerializer)
    @action(detail=True, methods=["post"])
    def reverse(self, request: Request, pk: int) -> Response:
        """Take the cost back from everybody who carries a part of it."""
        sent = received(ReasonSerializer, request)
        cost = reverse_firing_cost(
            by=request.user, at=timezone.now(), cost=self.get_object(), **sent
        )
        return Response(self._shown(cost))

    def _shown(self, cost: FiringCost) -> Any:
        return FiringCostDetailSerializer(self.get_queryset().get(pk=cost.pk)).data
