"""Bookings: a member sees those of the own account, crew and staff see all."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from django.shortcuts import get_object_or_404
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.status import HTTP_201_CREATED

from firings.actions.book import PieceRequest, book_ware
from firings.actions.bookings import (
    collect_booking,
    correct_piece,
    decline_booking,
    withdraw_booking,
)
from firings.actions.open_and_unload import correct_shelving
from firings.api.booking_serializers import (
    BookingFilterSerializer,
    BookingSerializer,
    BookSerializer,
    DeclineSerializer,
    ForecastSerializer,
    MeasureSerializer,
)
from firings.api.exact import ExactSerializer
from firings.api.firing_serializers import PutRightSerializer
from firings.calculations.slips import read_slip
from firings.models import Booking, BookingForecast
from studio.api.received import received


class BookingViewSet(viewsets.ReadOnlyModelViewSet[Booking]):
    """Ware on its way from the drying rack to the pick-up shelf."""

    queryset = Booking.objects.select_related("member", "account").prefetch_related(
        "pieces", "glazes"
    )
    serializer_class = BookingSerializer
    lookup_value_converter = "int"

    def get_queryset(self) -> QuerySet[Booking]:
        return super().get_queryset().visible_to(self.request.user)

    def _answer(
        self, act: Any, request: Request, sent: type[ExactSerializer] | None = None, **more: Any
    ) -> Response:
        """Do `act` to the booking in the address and show what came of it."""
        booking = self.get_object()
        fields = received(sent, request) if sent else {}
        act(booking=booking, by=request.user, at=timezone.now(), **fields, **more)
        return Response(BookingSerializer(self.get_object()).data)

    @extend_schema(parameters=[BookingFilterSerializer])
    def list(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Newest first."""
        asked = BookingFilterSerializer(data=request.query_params)
        asked.is_valid(raise_exception=True)
        wanted = dict(asked.validated_data)
        if "slip" in wanted:
            wanted["slip"] = _slip(wanted["slip"])
        page = self.paginate_queryset(self.get_queryset().filter(**wanted))
        return self.get_paginated_response(BookingSerializer(page, many=True).data)

    @extend_schema(request=BookSerializer, responses={201: BookingSerializer})
    def create(self, request: Request) -> Response:
        """Book pieces or a part of a shelf, in the queue or on an announced firing."""
        sent = received(BookSerializer, request)
        pieces = [PieceRequest(**piece) for piece in sent.pop("pieces", [])]
        booking = book_ware(by=request.user, at=timezone.now(), pieces=pieces, **sent)
        made = Booking.objects.get(pk=booking.pk)
        return Response(BookingSerializer(made).data, status=HTTP_201_CREATED)

    @extend_schema(responses=ForecastSerializer)
    @action(detail=True, methods=["get"])
    def forecast(self, request: Request, pk: int) -> Response:
        """In which coming load it will be, about when; 404 while nothing is known."""
        known = get_object_or_404(BookingForecast, booking=self.get_object())
        return Response(ForecastSerializer(known).data)

    @extend_schema(request=None, responses=BookingSerializer)
    @action(detail=True, methods=["post"])
    def withdraw(self, request: Request, pk: int) -> Response:
        """Take the ware out of the queue, or off an announced firing."""
        return self._answer(withdraw_booking, request)

    @extend_schema(request=DeclineSerializer, responses=BookingSerializer)
    @action(detail=True, methods=["post"])
    def decline(self, request: Request, pk: int) -> Response:
        """Crew turn the ware away; the member is told why."""
        return self._answer(decline_booking, request, DeclineSerializer)

    @extend_schema(request=None, responses=BookingSerializer)
    @action(detail=True, methods=["post"])
    def collect(self, request: Request, pk: int) -> Response:
        """The ware has left the pick-up shelf."""
        return self._answer(collect_booking, request)

    @extend_schema(request=PutRightSerializer, responses=BookingSerializer)
    @action(detail=True, methods=["post"], url_path="put-right")
    def put_right(self, request: Request, pk: int) -> Response:
        """Put right where ware on the pick-up shelf stands and how it came out."""
        return self._answer(correct_shelving, request, PutRightSerializer)

    @extend_schema(request=MeasureSerializer, responses=BookingSerializer)
    @action(detail=True, methods=["post"], url_path="pieces/<int:piece_pk>/measure")
    def measure_piece(self, request: Request, pk: int, piece_pk: int) -> Response:
        """Crew measured a piece: what they measured is charged, and the member is told."""
        piece = get_object_or_404(self.get_object().pieces, pk=piece_pk)
        sent = received(MeasureSerializer, request)
        correct_piece(by=request.user, at=timezone.now(), piece=piece, **sent)
        return Response(BookingSerializer(self.get_object()).data)


def _slip(typed: str) -> str:
    """The slip as it is written, or what was typed, which no booking has."""
    try:
        return read_slip(typed)
    except ValueError:
        return typed
