"""Tariffs: versions of what the electricity costs."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.status import HTTP_201_CREATED, HTTP_204_NO_CONTENT

from billing.actions.tariff_bench import bench_firing, bench_month, bench_tariffs
from billing.actions.tariffs import add_tariff_version, withdraw_tariff_version
from billing.api.months import possible_month
from billing.models import TariffVersion
from firings.api.exact import ExactSerializer
from firings.models import Firing
from studio.api.access import holds
from studio.api.received import received
from studio.models import Role

RATES = (
    '{"kind": "flat", "price_per_kwh": "0.21"}; or kind "tiered" with time_zone and tiers '
    '(up_to_kwh of a month, null in the last; price_per_kwh); or kind "time_of_use" with '
    "time_zone, periods (name, price_per_kwh, season_prices), seasons (name, first_day and "
    "last_day as month-day, rules with weekdays, from, to, period), default_period, holidays, "
    "holiday_period and price_seasons. Any kind may add format 2, time_zone, fixed (per_day, "
    "per_month), demand (name, window_minutes, periods, prices with price_per_kw) and taxes (name, "
    "and percent or per_kwh). Prices are text, in whole currency units."
)


class TariffSerializer(serializers.ModelSerializer[TariffVersion]):
    class Meta:
        model = TariffVersion
        fields = ("id", "name", "valid_from", "rates", "made_at")
        read_only_fields = fields


class NewTariffSerializer(ExactSerializer):
    name = serializers.CharField(max_length=80)
    valid_from = serializers.DateField()
    rates = serializers.DictField(help_text=RATES)
    confirm = serializers.BooleanField(
        required=False, default=False, help_text="A price above 5.00 is really meant."
    )


class BenchSerializer(ExactSerializer):
    """Either one firing or all firings of a month; versions, a draft, or both."""

    firing = serializers.PrimaryKeyRelatedField(queryset=Firing.objects.all(), required=False)
    month = serializers.DateField(
        required=False, validators=[possible_month], help_text="Any day of it."
    )
    tariffs = serializers.PrimaryKeyRelatedField(
        queryset=TariffVersion.objects.all(), many=True, default=list
    )
    draft = serializers.DictField(required=False, help_text=RATES)

    def validate(self, sent: dict[str, Any]) -> dict[str, Any]:
        if ("firing" in sent) == ("month" in sent):
            raise serializers.ValidationError("Name either a firing or a month.")
        if not sent["tariffs"] and "draft" not in sent:
            raise serializers.ValidationError("Name a version to try, or send a draft.")
        return sent


class BenchLineSerializer(serializers.Serializer[Any]):
    """Exact numbers as fractions: text such as "12" or "31/3"."""

    kind = serializers.CharField()
    name = serializers.CharField()
    quantity = serializers.CharField()
    unit = serializers.CharField()
    price = serializers.CharField()
    cost = serializers.CharField()


class BenchResultSerializer(serializers.Serializer[Any]):
    tariff = serializers.IntegerField(source="id", allow_null=True, help_text="Null: the draft.")
    name = serializers.CharField()
    total_minor = serializers.IntegerField(help_text="Rounded once.")
    lines = BenchLineSerializer(source="bill.lines", many=True)


class TariffViewSet(viewsets.ReadOnlyModelViewSet[TariffVersion]):
    """Versions of the tariff, the newest first. None is ever changed."""

    queryset = TariffVersion.objects.all()
    serializer_class = TariffSerializer
    permission_classes = (holds(Role.TREASURER, Role.MANAGER),)
    lookup_value_converter = "int"

    @extend_schema(request=NewTariffSerializer, responses={201: TariffSerializer})
    def create(self, request: Request) -> Response:
        """Add a version that holds from a day on."""
        sent = received(NewTariffSerializer, request)
        version = add_tariff_version(by=request.user, at=timezone.now(), **sent)
        return Response(TariffSerializer(version).data, status=HTTP_201_CREATED)

    @extend_schema(responses={204: None})
    def destroy(self, request: Request, pk: int) -> Response:
        """Take back a mistyped version that no firing was priced with."""
        withdraw_tariff_version(by=request.user, at=timezone.now(), version=self.get_object())
        return Response(status=HTTP_204_NO_CONTENT)

    @extend_schema(request=BenchSerializer, responses=BenchResultSerializer(many=True))
    @action(detail=False, methods=["post"], pagination_class=None)
    def bench(self, request: Request) -> Response:
        """What past firings would have cost under versions or a draft. Nothing is written."""
        sent = received(BenchSerializer, request)
        tried, now = bench_tariffs(sent["tariffs"], sent.get("draft")), timezone.now()
        results = (
            bench_firing(sent["firing"], tried, now)
            if "firing" in sent
            else bench_month(sent["month"], tried, now)
        )
        return Response(BenchResultSerializer(results, many=True).data)
