"""Readings of kilns: in from loggers with a kiln's key and from crew, out as pages or a curve."""

from __future__ import annotations

from typing import Any

from django.shortcuts import get_object_or_404
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework.generics import GenericAPIView
from rest_framework.pagination import CursorPagination
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from firings.actions.log_summary import short_log
from firings.actions.readings import (
    Received,
    Shared,
    add_firing_readings,
    add_kiln_readings,
)
from firings.api.kiln_tokens import KeyOfThisKiln, KilnTokenAuthentication
from firings.api.reading_batches import (
    BatchSerializer,
    PersonsBatchSerializer,
    ReceivedSerializer,
    SharedSerializer,
)
from firings.api.reading_serializers import (
    CurveFilterSerializer,
    CurvePointSerializer,
    ReadingSerializer,
)
from firings.calculations.log_stretches import thinned
from firings.models import Firing, Reading
from studio.api.json_body import JsonBodyParser
from studio.api.received import received
from studio.api.throttles import TokenThrottle


class ReadingPagination(CursorPagination):
    """By time: new readings never shift a page."""

    ordering = "at"
    page_size = 500
    page_size_query_param = "page_size"
    max_page_size = 2000


class KilnReadingsView(APIView):
    """For loggers and meters. Each reading goes to the firing that the kiln was in."""

    authentication_classes = (KilnTokenAuthentication,)
    permission_classes = (KeyOfThisKiln,)
    throttle_classes = (TokenThrottle,)
    parser_classes = (JsonBodyParser,)

    @extend_schema(
        request=BatchSerializer,
        responses=SharedSerializer,
        operation_id="kilns_readings_create",
    )
    def post(self, request: Request, pk: int) -> Response:
        """Post up to 10,000 readings at once, in any order, as often as needed.

        Each reading goes to the firing of its time. What belongs to none is not stored and named
        in `refused`; when that is all of them, the batch is refused.
        """
        readings = received(BatchSerializer, request)["readings"]
        shared = add_kiln_readings(at=timezone.now(), kiln=request.auth.kiln, readings=readings)
        return Response(SharedSerializer(_of_shared(shared)).data)


class FiringReadingsView(GenericAPIView[Reading]):
    """The readings of one firing."""

    queryset = Reading.objects.all()
    serializer_class = ReadingSerializer
    permission_classes = (IsAuthenticated,)
    pagination_class = ReadingPagination

    @extend_schema(responses=ReadingSerializer(many=True), operation_id="firings_readings_list")
    def get(self, request: Request, pk: int) -> Response:
        """All readings in order of time, page by page. For crew and whose ware is in it."""
        firing = get_object_or_404(Firing.objects.readable_by(request.user), pk=pk)
        page = self.paginate_queryset(firing.readings.all())
        return self.get_paginated_response(ReadingSerializer(page, many=True).data)

    @extend_schema(
        request=PersonsBatchSerializer,
        responses=ReceivedSerializer,
        operation_id="firings_readings_create",
    )
    def post(self, request: Request, pk: int) -> Response:
        """Crew add readings from a file or by hand."""
        firing = get_object_or_404(Firing, pk=pk)
        sent = received(PersonsBatchSerializer, request)
        return _answer(
            add_firing_readings(by=request.user, at=timezone.now(), firing=firing, **sent)
        )


class FiringCurveView(APIView):
    """The log of one firing, thinned for drawing."""

    permission_classes = (IsAuthenticated,)

    @extend_schema(
        parameters=[CurveFilterSerializer],
        responses=CurvePointSerializer(many=True),
        operation_id="firings_curve_list",
    )
    def get(self, request: Request, pk: int) -> Response:
        """At most `points` readings; peaks and dips stay. For crew and whose ware is in it."""
        firing = get_object_or_404(Firing.objects.readable_by(request.user), pk=pk)
        asked = CurveFilterSerializer(data=request.query_params)
        asked.is_valid(raise_exception=True)
        points_max = asked.validated_data["points"]
        curve = thinned(short_log(firing), points_max)
        return Response(CurvePointSerializer(list(curve), many=True).data)


def _answer(kept: Received) -> Response:
    return Response(ReceivedSerializer(_of_received(kept)).data)


def _of_received(kept: Received) -> dict[str, int]:
    return {
        "stored": kept.stored,
        "already_known": kept.already_known,
        "firing": kept.firing.pk,
    }


def _of_shared(shared: Shared) -> dict[str, Any]:
    return {
        "stored": sum(one.stored for one in shared.received),
        "already_known": sum(one.already_known for one in shared.received),
        "firing": shared.received[-1].firing.pk,
        "firings": [_of_received(one) for one in shared.received],
        "refused": [vars(one) for one in shared.nowhere],
    }
