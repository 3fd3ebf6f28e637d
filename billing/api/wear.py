"""What firings use up: consumables, and the reserves that parts are saved for in."""

from __future__ import annotations

from typing import Any

from django.shortcuts import get_object_or_404
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers, viewsets
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.status import HTTP_201_CREATED
from rest_framework.views import APIView

from billing.actions.consumable_lines import (
    NAME_LENGTH_MAX,
    PRICE_MINOR_MAX,
    add_consumable,
    edit_consumable,
)
from billing.actions.ledger import local_day
from billing.actions.life_estimates import COST_MINOR_MAX, estimate_part_anew
from billing.actions.reserves import reserves_on
from billing.models import Consumable, ConsumedPer, LifeEstimate
from firings.api.exact import ExactSerializer
from firings.models import KilnPart
from studio.api.access import holds
from studio.api.received import received
from studio.models import Role

KEEPERS = (Role.TREASURER, Role.MANAGER)


class ConsumableSerializer(serializers.ModelSerializer[Consumable]):
    class Meta:
        model = Consumable
        fields = ("id", "name", "price_minor", "per", "is_used")
        read_only_fields = fields


class NewConsumableSerializer(ExactSerializer):
    name = serializers.CharField(max_length=NAME_LENGTH_MAX)
    price_minor = serializers.IntegerField(min_value=1, max_value=PRICE_MINOR_MAX)
    per = serializers.ChoiceField(
        choices=ConsumedPer.choices, help_text="`area`: the price of 100,000 mm2 charged."
    )


class EditConsumableSerializer(NewConsumableSerializer):
    is_used = serializers.BooleanField()


class ConsumableViewSet(viewsets.ReadOnlyModelViewSet[Consumable]):
    """Things with a price that firings use up."""

    queryset = Consumable.objects.order_by("name")
    serializer_class = ConsumableSerializer
    permission_classes = (holds(*KEEPERS),)
    lookup_value_converter = "int"

    @extend_schema(request=NewConsumableSerializer, responses={201: ConsumableSerializer})
    def create(self, request: Request) -> Response:
        sent = received(NewConsumableSerializer, request)
        consumable = add_consumable(by=request.user, at=timezone.now(), **sent)
        return Response(ConsumableSerializer(consumable).data, status=HTTP_201_CREATED)

    @extend_schema(request=EditConsumableSerializer, responses=ConsumableSerializer)
    def partial_update(self, request: Request, pk: int) -> Response:
        """Change what is sent; what was charged before stays."""
        consumable = self.get_object()
        known = {name: getattr(consumable, name) for name in EditConsumableSerializer().fields}
        sent = received(EditConsumableSerializer, request, partial=True)
        edited = edit_consumable(
            by=request.user, at=timezone.now(), consumable=consumable, **{**known, **sent}
        )
        return Response(ConsumableSerializer(edited).data)


class PartStandingSerializer(serializers.Serializer[Any]):
    part = serializers.IntegerField(source="part.pk")
    name = serializers.CharField(source="part.name")
    life_unit = serializers.CharField(source="part.life_unit")
    expected_life = serializers.DecimalField(
        source="part.expected_life", max_digits=9, decimal_places=2
    )
    life_used = serializers.DecimalField(source="used", max_digits=14, decimal_places=4)
    life_left = serializers.DecimalField(source="left", max_digits=14, decimal_places=4)
    replacement_cost_minor = serializers.IntegerField(source="part.replacement_cost_minor")
    charged_minor = serializers.IntegerField()
    fully_funded_minor = serializers.IntegerField()
    due_on = serializers.DateField(allow_null=True, help_text="About when its life is used up.")


class ReserveSerializer(serializers.Serializer[Any]):
    """A kiln's reserve by the component method: fully funded is current cost x life used / life."""

    kiln = serializers.IntegerField(source="kiln.pk")
    name = serializers.CharField(source="kiln.name")
    balance_minor = serializers.IntegerField()
    fully_funded_minor = serializers.IntegerField()
    percent_funded = serializers.IntegerField(allow_null=True)
    parts = PartStandingSerializer(many=True)


class ReservesView(APIView):
    """The wear reserve of each kiln that has parts, as it stands today."""

    permission_classes = (holds(*KEEPERS),)

    @extend_schema(responses=ReserveSerializer(many=True), operation_id="reserves_list")
    def get(self, request: Request) -> Response:
        found = reserves_on(local_day(timezone.now()))
        return Response(ReserveSerializer(found, many=True).data)


class LifeEstimateSerializer(serializers.ModelSerializer[LifeEstimate]):
    class Meta:
        model = LifeEstimate
        fields = (
            "id",
            "part",
            "replacement_cost_minor",
            "expected_life",
            "charged_minor",
            "units_used",
            "reason",
            "made_at",
        )
        read_only_fields = fields


class EstimateAnewSerializer(ExactSerializer):
    replacement_cost_minor = serializers.IntegerField(min_value=0, max_value=COST_MINOR_MAX)
    expected_life = serializers.DecimalField(
        max_digits=9, decimal_places=2, min_value=1, max_value=100_000
    )
    reason = serializers.CharField(max_length=500)


class EstimateView(APIView):
    """Cost and life of a part, estimated anew."""

    permission_classes = (holds(*KEEPERS),)

    @extend_schema(
        request=EstimateAnewSerializer,
        responses={201: LifeEstimateSerializer},
        operation_id="part_estimate",
    )
    def post(self, request: Request, pk: int) -> Response:
        """What was charged stays; what is left to save is spread over the life that is left."""
        part = get_object_or_404(KilnPart, pk=pk)
        sent = received(EstimateAnewSerializer, request)
        estimate = estimate_part_anew(by=request.user, at=timezone.now(), part=part, **sent)
        return Response(LifeEstimateSerializer(estimate).data, status=HTTP_201_CREATED)
