"""A load in the hands of crew: looked for, moved, locked, held. All of it under one firing."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from django.shortcuts import get_object_or_404
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from firings.actions.arrange_load import move_piece, swap_pieces, turn_piece
from firings.actions.hold_load import (
    allow_slip,
    give_room_back,
    keep_room_free,
    keep_slip_out,
    lock_layer,
    lock_piece,
    set_layer_height,
)
from firings.actions.left_out import stays_out_words
from firings.actions.load_progress import progress_context
from firings.actions.search_load import search_load, stop_search
from firings.api.exact import ExactSerializer
from firings.api.firing_serializers import BookingOfLoadSerializer
from firings.api.load_serializers import (
    GiveRoomBackSerializer,
    KeepRoomSerializer,
    LayerHeightSerializer,
    LoadStateSerializer,
    LockLayerSerializer,
    LockPieceSerializer,
    MovePieceSerializer,
    SwapPiecesSerializer,
    TurnPieceSerializer,
)
from firings.models import Booking, Firing, Piece, Placement
from firings.tasks import look_for_better_load
from studio.api.access import holds
from studio.api.received import received
from studio.models import Person, Role


class LoadViewSet(viewsets.GenericViewSet[Firing]):
    """The load of one firing. Each change is checked at once; what cannot stand is refused."""

    queryset = Firing.objects.select_related("kiln")
    serializer_class = LoadStateSerializer
    permission_classes = (holds(Role.CREW, Role.MANAGER),)
    lookup_value_converter = "int"
    pagination_class = None

    def _do(self, act: Any, request: Request, sent: type[ExactSerializer] | None) -> Response:
        """Do `act` to the load as whoever asks, and show how the load stands now."""
        firing = self.get_object()
        fields = received(sent, request) if sent else {}
        for name in {"piece", "other"} & set(fields):
            mine = Piece.objects.filter(booking__firing=firing)
            fields[name] = get_object_or_404(mine, pk=fields[name])
        if "booking" in fields:
            fields["booking"] = get_object_or_404(Booking, pk=fields["booking"])
        act(by=request.user, at=timezone.now(), firing=firing, **fields)
        return Response(LoadStateSerializer(_state(self.get_object(), request.user)).data)

    @extend_schema(responses=LoadStateSerializer)
    def retrieve(self, request: Request, pk: int) -> Response:
        """What crew hold, what stays out and why, and how good the load is."""
        return Response(LoadStateSerializer(_state(self.get_object(), request.user)).data)

    @extend_schema(request=None, responses=LoadStateSerializer)
    @action(detail=True, methods=["post"])
    def search(self, request: Request, pk: int) -> Response:
        """Plan at once, and let a worker look for a better load."""

        def act(**named: Any) -> Any:
            return search_load(**named, nudge=look_for_better_load.delay)

        return self._do(act, request, None)

    @extend_schema(request=None, responses=LoadStateSerializer)
    @action(detail=True, methods=["post"], url_path="stop-search")
    def stop_search(self, request: Request, pk: int) -> Response:
        """Let the load stand as it is."""
        return self._do(stop_search, request, None)

    @extend_schema(request=MovePieceSerializer, responses=LoadStateSerializer)
    @action(detail=True, methods=["post"], url_path="move-piece")
    def move_piece(self, request: Request, pk: int) -> Response:
        """Put a piece to a place on a layer; it is locked there."""
        return self._do(move_piece, request, MovePieceSerializer)

    @extend_schema(request=TurnPieceSerializer, responses=LoadStateSerializer)
    @action(detail=True, methods=["post"], url_path="turn-piece")
    def turn_piece(self, request: Request, pk: int) -> Response:
        """Turn a rectangle about its middle; it is locked there."""
        return self._do(turn_piece, request, TurnPieceSerializer)

    @extend_schema(request=SwapPiecesSerializer, responses=LoadStateSerializer)
    @action(detail=True, methods=["post"], url_path="swap-pieces")
    def swap_pieces(self, request: Request, pk: int) -> Response:
        """Let two pieces change places; both are locked there."""
        return self._do(swap_pieces, request, SwapPiecesSerializer)

    @extend_schema(request=LockPieceSerializer, responses=LoadStateSerializer)
    @action(detail=True, methods=["post"], url_path="lock-piece")
    def lock_piece(self, request: Request, pk: int) -> Response:
        """Let a piece stay where it is when the load is planned again, or free it."""
        return self._do(lock_piece, request, LockPieceSerializer)

    @extend_schema(request=LockLayerSerializer, responses=LoadStateSerializer)
    @action(detail=True, methods=["post"], url_path="lock-layer")
    def lock_layer(self, request: Request, pk: int) -> Response:
        """Let a layer stay as it is, with nothing added, or free it."""
        return self._do(lock_layer, request, LockLayerSerializer)

    @extend_schema(request=LayerHeightSerializer, responses=LoadStateSerializer)
    @action(detail=True, methods=["post"], url_path="set-layer-height")
    def set_layer_height(self, request: Request, pk: int) -> Response:
        """Say which posts stand on a layer, under the shelf above."""
        return self._do(set_layer_height, request, LayerHeightSerializer)

    @extend_schema(request=KeepRoomSerializer, responses=LoadStateSerializer)
    @action(detail=True, methods=["post"], url_path="keep-room-free")
    def keep_room_free(self, request: Request, pk: int) -> Response:
        """Keep a rectangle of a layer free, for tests or a late piece."""
        return self._do(keep_room_free, request, KeepRoomSerializer)

    @extend_schema(request=GiveRoomBackSerializer, responses=LoadStateSerializer)
    @action(detail=True, methods=["post"], url_path="give-room-back")
    def give_room_back(self, request: Request, pk: int) -> Response:
        """Let ware stand again where room was kept free."""
        return self._do(give_room_back, request, GiveRoomBackSerializer)

    @extend_schema(request=BookingOfLoadSerializer, responses=LoadStateSerializer)
    @action(detail=True, methods=["post"], url_path="keep-slip-out")
    def keep_slip_out(self, request: Request, pk: int) -> Response:
        """Forbid a slip for this firing."""
        return self._do(keep_slip_out, request, BookingOfLoadSerializer)

    @extend_schema(request=BookingOfLoadSerializer, responses=LoadStateSerializer)
    @action(detail=True, methods=["post"], url_path="allow-slip")
    def allow_slip(self, request: Request, pk: int) -> Response:
        """Let a slip that was kept out be planned again."""
        return self._do(allow_slip, request, BookingOfLoadSerializer)


def _state(firing: Firing, reader: Person) -> dict[str, Any]:
    found = progress_context(firing, timezone.now())
    progress, changes = found["progress"], found["changes"]
    locked = Placement.objects.filter(layer__firing=firing, is_locked=True)
    return {
        "revision": firing.load_revision,
        "locked_pieces": list(locked.order_by("piece_id").values_list("piece_id", flat=True)),
        "holds": firing.holds.all(),
        "kept_out": list(firing.kept_out.values_list("booking__slip", flat=True)),
        "stays_out": [
            {
                "booking": row.booking_id,
                "slip": row.booking.slip,
                "why": row.why,
                "told": stays_out_words(row, reader),
            }
            for row in firing.stay_out.select_related("booking")
        ],
        "search": progress
        and {
            "state": progress.search.state,
            "steps": progress.search.steps,
            "area_mm2": progress.search.area_mm2,
            "bound_mm2": progress.search.bound_mm2,
            "within_percent": progress.within_percent,
            "seconds": progress.seconds,
            "warnings": progress.search.warnings,
        },
        "changes": asdict(changes) if changes is not None else None,
    }
