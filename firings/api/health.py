"""What was measured by cones, where energy went, and how a kiln is doing."""

from __future__ import annotations

from dataclasses import asdict

from django.shortcuts import get_object_or_404
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from firings.actions.energy_explained import EnergyExplained, explain_energy
from firings.actions.firing_health import packs_of
from firings.actions.kiln_trends import kiln_trends
from firings.api.health_serializers import (
    EnergyBalanceSerializer,
    KilnHealthSerializer,
    MeasuredConesSerializer,
)
from firings.calculations.cone_packs import MeasuredPack, evenness, measured_layers
from firings.calculations.witness_cones import measured_words
from firings.models import STAFF, Firing, FiringHealth, Kiln
from studio.api.access import holds


class MeasuredConesView(APIView):
    """What the witness cones of a firing say, layer by layer."""

    permission_classes = (IsAuthenticated,)

    @extend_schema(
        responses=MeasuredConesSerializer, operation_id="firings_measured_cones_retrieve"
    )
    def get(self, request: Request, pk: int) -> Response:
        """For crew and staff, and whose ware is in it."""
        firing = get_object_or_404(Firing.objects.readable_by(request.user), pk=pk)
        packs = packs_of(firing.witness_cones.all())
        health = FiringHealth.objects.filter(firing=firing).first()
        shown = {
            "packs": [_pack(pack) for pack in packs],
            "evenness": evenness(measured_layers(packs)),
            "log_heat_c": health.log_heat_c if health else None,
            "offset_c": health.offset_c if health else None,
        }
        return Response(MeasuredConesSerializer(shown).data)


class EnergyBalanceView(APIView):
    """Where a closed firing's energy went, as an estimate."""

    permission_classes = (IsAuthenticated,)

    @extend_schema(
        responses=EnergyBalanceSerializer, operation_id="firings_energy_balance_retrieve"
    )
    def get(self, request: Request, pk: int) -> Response:
        """For crew and staff, and whose ware is in it."""
        readable = Firing.objects.readable_by(request.user).select_related("kiln")
        explained = explain_energy(get_object_or_404(readable, pk=pk))
        shown = None if explained is None else _explained(explained)
        return Response(EnergyBalanceSerializer({"explained": shown}).data)


class KilnHealthView(APIView):
    """What a kiln's closed firings tell of its thermocouple, elements and relays."""

    permission_classes = (holds(*STAFF),)

    @extend_schema(responses=KilnHealthSerializer, operation_id="kilns_health_retrieve")
    def get(self, request: Request, pk: int) -> Response:
        """Trends with what they rest on; the last 60 closed firings."""
        trends = kiln_trends(get_object_or_404(Kiln, pk=pk), at=timezone.now())
        return Response(KilnHealthSerializer(trends).data)


def _pack(pack: MeasuredPack) -> dict[str, object]:
    measured = pack.measured
    return {
        "layer": pack.layer,
        "position": pack.position,
        "low_c": measured.low_c,
        "high_c": measured.high_c,
        "middle_c": measured.middle_c,
        "cooler_cone": measured.cooler,
        "hotter_cone": measured.hotter,
        "share": measured.share,
        "words": measured_words(measured),
        "contradicts": measured.contradicts,
    }


def _explained(explained: EnergyExplained) -> dict[str, object]:
    balance = explained.balance
    return {
        "energy_wh": balance.energy_wh,
        "fits": balance.fits,
        "parts": [asdict(part) for part in balance.parts],
        "ware_kg": explained.ware.kg,
        "ware_either_way_kg": explained.ware.either_way_kg,
        "is_weighed": explained.is_weighed,
        "furniture_kg": explained.furniture.kg,
        "furniture_either_way_kg": explained.furniture.either_way_kg,
        "water_kg": balance.water_kg,
        "peak_c": explained.peak_c,
        "is_peak_measured": explained.is_peak_measured,
        "empty": [asdict(one) for one in explained.empty],
    }
