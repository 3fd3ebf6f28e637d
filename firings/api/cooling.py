"""How a firing may cool, and how its kiln usually does."""

from __future__ import annotations

from dataclasses import asdict

from django.shortcuts import get_object_or_404
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from firings.actions.cooling_habits import forecast_of, habits_of
from firings.api.cooling_serializers import (
    CoolingForecastSerializer,
    FiringForecastSerializer,
    KilnCoolingSerializer,
)
from firings.calculations.cooling import CoolingForecast, forecast_band
from firings.models import Firing, Kiln
from studio.api.access import holds
from studio.models import Role


class FiringForecastView(APIView):
    """When a hot kiln may be at its opening limit."""

    permission_classes = (IsAuthenticated,)

    @extend_schema(
        responses=FiringForecastSerializer, operation_id="firings_cooling_forecast_retrieve"
    )
    def get(self, request: Request, pk: int) -> Response:
        """The forecast with its band for a curve. For crew and whose ware is in it."""
        readable = Firing.objects.readable_by(request.user).select_related("kiln")
        forecast = forecast_of(get_object_or_404(readable, pk=pk), timezone.now())
        shown = None if forecast is None else _shown(forecast)
        return Response(FiringForecastSerializer({"forecast": shown}).data)


class KilnCoolingView(APIView):
    """What a kiln's closed firings taught."""

    permission_classes = (holds(Role.CREW, Role.MANAGER, Role.TREASURER),)

    @extend_schema(responses=KilnCoolingSerializer, operation_id="kilns_cooling_retrieve")
    def get(self, request: Request, pk: int) -> Response:
        """Where forecasts of this kiln start from."""
        kiln = get_object_or_404(Kiln, pk=pk)
        return Response(KilnCoolingSerializer(habits_of(kiln)).data)


def _shown(forecast: CoolingForecast) -> dict[str, object]:
    names = set(CoolingForecastSerializer().fields) - {"band"}
    band = [asdict(point) for point in forecast_band(forecast)]
    return {**{name: getattr(forecast, name) for name in names}, "band": band}
