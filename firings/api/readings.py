"""Readings of kilns: in from loggers with a kiln's key and from crew, out as pages or a curve."""

from __future__ import annotations

from django.shortcuts import get_object_or_404
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework.generics import GenericAPIView
from rest_framework.pagination import CursorPagination
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from firings.actions.readings import (
    Received,
    add_firing_readings,
    firing_of_reading,
    moments_of,
)
from firings.api.kiln_tokens import KeyOfThisKiln, KilnTokenAuthentication
from firings.api.reading_serializers import (
    BatchSerializer,
    CurveFilterSerializer,
    CurvePointSerializer,
    PersonsBatchSerializer,
    ReadingSerializer,
    ReceivedSerializer,
)
from firings.calculations.thinned_curve import thinned_curve
from firings.models import Firing, Reading, ReadingSource
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
    """For loggers and meters. The readings go to the firing that the kiln is in."""

    authentication_classes = (KilnTokenAuthentication,)
    permission_classes = (KeyOfThisKiln,)
    throttle_classes = (TokenThrottle,)
    parser_classes = (JsonBodyParser,)

    @extend_schema(
        request=BatchSerializer,
        responses=ReceivedSerializer,
        operation_id="kilns_readings_create",
    )
    def post(self, request: Request, pk: int) -> Response:
        """Post up to 10,000 readings at once, in any order, as often as needed."""
        readings = received(BatchSerializer, request)["readings"]
        firing = firing_of_reading(request.auth.kiln, readings)
        return _answer(
            add_firing_readings(
                by=None,
                at=timezone.now(),
                firing=firing,
                readings=readings,
                source=ReadingSource.LOGGER,
            )
        )


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
        curve = thinned_curve(moments_of(firing), points_max, lambda moment: moment.temp_c)
        return Response(CurvePointSerializer(curve, many=True).data)


def _answer(kept: Received) -> Response:
    answer = {
        "stored": kept.stored,
        "already_known": kept.already_known,
        "firing": kept.firing.pk,
    }
    return Response(ReceivedSerializer(answer).data)
