"""Firings from plan to pick-up shelf. Members read what is announced; crew act."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict
from typing import Any

from django.db.models import QuerySet
from django.shortcuts import get_object_or_404
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import viewsets
from rest_framework.decorators import action
from rest_framework.exceptions import NotFound
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.status import HTTP_201_CREATED

from firings.actions.cool_down import begin_cooling, resume_firing
from firings.actions.end_firing import abort_firing, close_firing
from firings.actions.load import LoadProposal, fill_load, put_in_load, take_out_of_load
from firings.actions.open_and_unload import open_firing, record_witness_cones, shelve_booking
from firings.actions.plan_firing import (
    announce_firing,
    begin_loading,
    cancel_firing,
    plan_firing,
)
from firings.actions.start import start_check, start_firing
from firings.actions.weigh_load import weigh_load
from firings.api.booking_serializers import BookingSerializer
from firings.api.exact import ExactSerializer, ReasonSerializer
from firings.api.firing_serializers import (
    AbortSerializer,
    BookingOfLoadSerializer,
    CheckItemSerializer,
    CloseSerializer,
    ConesSeenSerializer,
    FiringFilterSerializer,
    FiringSerializer,
    LayerSerializer,
    LoadProposalSerializer,
    OpenSerializer,
    PlanSerializer,
    ShelveSerializer,
    StartSerializer,
)
from firings.api.health_serializers import WeighLoadSerializer
from firings.api.load_layout import layers_of
from firings.models import Booking, Firing
from studio.api.access import holds
from studio.api.received import received
from studio.models import Role


class FiringViewSet(viewsets.ReadOnlyModelViewSet[Firing]):
    """Firings, planned ones first."""

    queryset = Firing.objects.select_related("kiln").prefetch_related("witness_cones")
    serializer_class = FiringSerializer
    permission_classes = (IsAuthenticated,)
    lookup_value_converter = "int"

    def get_queryset(self) -> QuerySet[Firing]:
        return super().get_queryset().visible_to(self.request.user)

    def _answer(
        self, act: Any, request: Request, sent: type[ExactSerializer] | None = None, **more: Any
    ) -> Response:
        """Do `act` to the firing in the address and show what came of it."""
        firing = self.get_object()
        fields = received(sent, request) if sent else {}
        act(firing=firing, by=request.user, at=timezone.now(), **fields, **more)
        return Response(FiringSerializer(self.get_object()).data)

    @extend_schema(parameters=[FiringFilterSerializer])
    def list(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """The latest planned first."""
        asked = FiringFilterSerializer(data=request.query_params)
        asked.is_valid(raise_exception=True)
        page = self.paginate_queryset(self.get_queryset().filter(**asked.validated_data))
        return self.get_paginated_response(self.get_serializer(page, many=True).data)

    @extend_schema(request=PlanSerializer, responses={201: FiringSerializer})
    def create(self, request: Request) -> Response:
        """Plan a firing."""
        sent = received(PlanSerializer, request)
        firing = plan_firing(by=request.user, at=timezone.now(), **sent)
        return Response(FiringSerializer(firing).data, status=HTTP_201_CREATED)

    @extend_schema(request=None, responses=FiringSerializer)
    @action(detail=True, methods=["post"])
    def announce(self, request: Request, pk: int) -> Response:
        """Let members book space on it."""
        return self._answer(announce_firing, request)

    @extend_schema(request=ReasonSerializer, responses=FiringSerializer)
    @action(detail=True, methods=["post"])
    def cancel(self, request: Request, pk: int) -> Response:
        """Call it off before it starts."""
        return self._answer(cancel_firing, request, ReasonSerializer)

    @extend_schema(request=None, responses=FiringSerializer)
    @action(detail=True, methods=["post"], url_path="begin-loading")
    def begin_loading(self, request: Request, pk: int) -> Response:
        """Take the kiln for this firing."""
        return self._answer(begin_loading, request)

    @extend_schema(request=None, responses=LoadProposalSerializer)
    @action(detail=True, methods=["post"], url_path="fill-load")
    def fill_load(self, request: Request, pk: int) -> Response:
        """Make the load from what is in it, what was promised space, and the dry queue."""
        proposal = fill_load(by=request.user, at=timezone.now(), firing=self.get_object())
        return _proposal(proposal)

    @extend_schema(request=BookingOfLoadSerializer, responses=LoadProposalSerializer)
    @action(detail=True, methods=["post"], url_path="put-in")
    def put_in(self, request: Request, pk: int) -> Response:
        """Add one booking to the load."""
        booking = self._sent_booking(BookingOfLoadSerializer, request)["booking"]
        proposal = put_in_load(
            by=request.user, at=timezone.now(), firing=self.get_object(), booking=booking
        )
        return _proposal(proposal)

    @extend_schema(request=BookingOfLoadSerializer, responses=FiringSerializer)
    @action(detail=True, methods=["post"], url_path="take-out")
    def take_out(self, request: Request, pk: int) -> Response:
        """Put one booking's ware back into the queue."""
        sent = self._sent_booking(BookingOfLoadSerializer, request)
        return self._answer(take_out_of_load, request, **sent)

    @extend_schema(responses=LayerSerializer(many=True))
    @action(detail=True, methods=["get"], pagination_class=None)
    def layout(self, request: Request, pk: int) -> Response:
        """The load, shelf by shelf. A member reads slips and names of the own account only."""
        layers = layers_of(self.get_object(), request.user)
        return Response(LayerSerializer(layers, many=True).data)

    @extend_schema(responses=CheckItemSerializer(many=True))
    @action(
        detail=True,
        methods=["get"],
        url_path="start-check",
        pagination_class=None,
        permission_classes=[holds(Role.CREW, Role.MANAGER)],
    )
    def start_check(self, request: Request, pk: int) -> Response:
        """What a person looks at and ticks before the kiln is started."""
        items = [asdict(item) for item in start_check(self.get_object())]
        return Response(CheckItemSerializer(items, many=True).data)

    @extend_schema(request=StartSerializer, responses=FiringSerializer)
    @action(detail=True, methods=["post"])
    def start(self, request: Request, pk: int) -> Response:
        """Note that a person starts the kiln. Wareboard switches nothing."""
        return self._answer(start_firing, request, StartSerializer)

    @extend_schema(request=None, responses=FiringSerializer)
    @action(detail=True, methods=["post"], url_path="begin-cooling")
    def begin_cooling(self, request: Request, pk: int) -> Response:
        """The kiln has ended its programme and cools."""
        return self._answer(begin_cooling, request)

    @extend_schema(request=ReasonSerializer, responses=FiringSerializer)
    @action(detail=True, methods=["post"])
    def resume(self, request: Request, pk: int) -> Response:
        """What read as cooling was a power cut: the firing goes on."""
        return self._answer(resume_firing, request, ReasonSerializer)

    @extend_schema(request=OpenSerializer, responses=FiringSerializer)
    @action(detail=True, methods=["post"])
    def open(self, request: Request, pk: int) -> Response:
        """Note that a person opens the kiln, at the temperature measured just now."""
        return self._answer(open_firing, request, OpenSerializer)

    @extend_schema(request=WeighLoadSerializer, responses=FiringSerializer)
    @action(detail=True, methods=["post"], url_path="weigh-load")
    def weigh_load(self, request: Request, pk: int) -> Response:
        """Write down what the ware weighs, without shelves."""
        return self._answer(weigh_load, request, WeighLoadSerializer)

    @extend_schema(request=ConesSeenSerializer, responses=FiringSerializer)
    @action(detail=True, methods=["put"], url_path="witness-cones")
    def witness_cones(self, request: Request, pk: int) -> Response:
        """Write down or correct what the witness cones showed."""
        return self._answer(record_witness_cones, request, ConesSeenSerializer)

    @extend_schema(request=ShelveSerializer, responses=BookingSerializer)
    @action(detail=True, methods=["post"])
    def shelve(self, request: Request, pk: int) -> Response:
        """Record how a slip's pieces came out and where they wait; its member is told."""
        sent = self._sent_booking(ShelveSerializer, request)
        if sent["booking"].firing_id != self.get_object().pk:
            raise NotFound("This booking is not in this firing.")
        shelve_booking(by=request.user, at=timezone.now(), **sent)
        return Response(BookingSerializer(Booking.objects.get(pk=sent["booking"].pk)).data)

    @extend_schema(request=CloseSerializer, responses=FiringSerializer)
    @action(detail=True, methods=["post"])
    def close(self, request: Request, pk: int) -> Response:
        """Close an opened firing; its cost is shared out."""
        return self._answer(close_firing, request, CloseSerializer)

    @extend_schema(request=AbortSerializer, responses=FiringSerializer)
    @action(detail=True, methods=["post"])
    def abort(self, request: Request, pk: int) -> Response:
        """Break off a started firing."""
        return self._answer(abort_firing, request, AbortSerializer)

    def _sent_booking(self, serializer: Any, request: Request) -> dict[str, Any]:
        """What was sent, with the booking it names; one of another account does not exist."""
        sent = received(serializer, request)
        seen = Booking.objects.visible_to(request.user)
        return {**sent, "booking": get_object_or_404(seen, pk=sent["booking"])}


def _proposal(proposal: LoadProposal) -> Response:
    answer = {
        "placed": _ids(proposal.placed),
        "left_out": [
            {"booking": booking.pk, "slip": booking.slip, "why": why}
            for booking, why in proposal.left_out.items()
        ],
        "warnings": proposal.warnings,
    }
    return Response(LoadProposalSerializer(answer).data)


def _ids(bookings: Iterable[Booking]) -> list[int]:
    return [booking.pk for booking in bookings]
