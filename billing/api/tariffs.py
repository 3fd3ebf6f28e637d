"""Tariffs: versions of what the electricity costs."""

from __future__ import annotations

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers, viewsets
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.status import HTTP_201_CREATED, HTTP_204_NO_CONTENT

from billing.actions.tariffs import add_tariff_version, withdraw_tariff_version
from billing.models import TariffVersion
from firings.api.exact import ExactSerializer
from studio.api.access import holds
from studio.api.received import received
from studio.models import Role

RATES = (
    '{"kind": "flat", "price_per_kwh": "0.21"}, or kind "time_of_use" with time_zone, periods '
    "(name, price_per_kwh), seasons (name, first_day and last_day as month-day, rules with "
    "weekdays, from, to, period), default_period, holidays and holiday_period. Prices are text, "
    "in whole currency units."
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
