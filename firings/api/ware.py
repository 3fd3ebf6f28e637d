"""Clays, glazes, sizes, the firing rules and the queues. Everybody reads; managers edit."""

from __future__ import annotations

from typing import Any

from django.db.models import Count, Q, Sum
from django.db.models.functions import Coalesce
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import viewsets
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.status import HTTP_201_CREATED
from rest_framework.views import APIView

from firings.actions.ware import edit_firing_policy, set_clay, set_glaze, set_piece_size
from firings.api.ware_serializers import (
    ClayEditSerializer,
    ClaySerializer,
    GlazeEditSerializer,
    GlazeSerializer,
    PieceSizeEditSerializer,
    PieceSizeSerializer,
    PolicySerializer,
    QueueSerializer,
)
from firings.models import Booking, Clay, FiringPolicy, Glaze, PieceSize
from studio.api.received import received
from studio.models import Studio


class PaletteViewSet(viewsets.ReadOnlyModelViewSet[Any]):
    """What members choose from; `set` adds and changes."""

    lookup_value_converter = "int"

    def set(self, act: Any, request: Request, sent: Any, **about: Any) -> Response:
        fields = received(sent, request, partial=bool(about))
        record = act(by=request.user, at=timezone.now(), fields=fields, **about)
        status = 200 if about else HTTP_201_CREATED
        return Response(self.get_serializer(record).data, status=status)


class ClayViewSet(PaletteViewSet):
    """Clay bodies and the cones they may be fired to."""

    queryset = Clay.objects.all()
    serializer_class = ClaySerializer

    @extend_schema(request=ClayEditSerializer, responses={201: ClaySerializer})
    def create(self, request: Request) -> Response:
        """Add a clay body."""
        return self.set(set_clay, request, ClayEditSerializer)

    @extend_schema(request=ClayEditSerializer, responses=ClaySerializer)
    def partial_update(self, request: Request, pk: int) -> Response:
        """Change a clay body."""
        return self.set(set_clay, request, ClayEditSerializer, clay=self.get_object())


class GlazeViewSet(PaletteViewSet):
    """Glazes and the cones they may be fired to."""

    queryset = Glaze.objects.all()
    serializer_class = GlazeSerializer

    @extend_schema(request=GlazeEditSerializer, responses={201: GlazeSerializer})
    def create(self, request: Request) -> Response:
        """Add a glaze."""
        return self.set(set_glaze, request, GlazeEditSerializer)

    @extend_schema(request=GlazeEditSerializer, responses=GlazeSerializer)
    def partial_update(self, request: Request, pk: int) -> Response:
        """Change a glaze."""
        return self.set(set_glaze, request, GlazeEditSerializer, glaze=self.get_object())


class PieceSizeViewSet(PaletteViewSet):
    """Usual sizes of ware."""

    queryset = PieceSize.objects.all()
    serializer_class = PieceSizeSerializer

    @extend_schema(request=PieceSizeEditSerializer, responses={201: PieceSizeSerializer})
    def create(self, request: Request) -> Response:
        """Add a size to the palette."""
        return self.set(set_piece_size, request, PieceSizeEditSerializer)

    @extend_schema(request=PieceSizeEditSerializer, responses=PieceSizeSerializer)
    def partial_update(self, request: Request, pk: int) -> Response:
        """Change a size of the palette."""
        return self.set(set_piece_size, request, PieceSizeEditSerializer, size=self.get_object())


class PolicyView(APIView):
    """The studio's rules for queues, loads and openings."""

    @extend_schema(responses=PolicySerializer, operation_id="firing_policy_read")
    def get(self, request: Request) -> Response:
        return Response(PolicySerializer(FiringPolicy.current()).data)

    @extend_schema(
        request=PolicySerializer, responses=PolicySerializer, operation_id="firing_policy_edit"
    )
    def patch(self, request: Request) -> Response:
        sent = received(PolicySerializer, request, partial=True)
        policy = edit_firing_policy(by=request.user, at=timezone.now(), fields=sent)
        return Response(PolicySerializer(policy).data)


class QueuesView(APIView):
    """What waits, by stage and cone, for everybody: areas and counts, no names."""

    @extend_schema(responses=QueueSerializer(many=True), operation_id="queues_list")
    def get(self, request: Request) -> Response:
        today = timezone.now().astimezone(Studio.current().zone).date()
        is_dry = Q(dry_on__lte=today)
        queues = (
            Booking.objects.waiting()
            .filter(firing=None)
            .values("stage", "cone")
            .annotate(
                bookings=Count("pk"),
                area_mm2=Sum("charged_area_mm2"),
                dry_bookings=Count("pk", filter=is_dry),
                dry_area_mm2=Coalesce(Sum("charged_area_mm2", filter=is_dry), 0),
            )
            .order_by("stage", "cone")
        )
        return Response(QueueSerializer(queues, many=True).data)
