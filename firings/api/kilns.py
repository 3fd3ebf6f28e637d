"""Kilns: everybody reads them; managers set them up, crew may take one out of service."""

from __future__ import annotations

from typing import Any

from django.db.models import Prefetch, QuerySet
from django.shortcuts import get_object_or_404
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import viewsets
from rest_framework.decorators import action
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.status import HTTP_201_CREATED

from firings.actions.kilns import (
    ShelvesWanted,
    add_kiln,
    add_part,
    edit_kiln,
    finish_care,
    issue_kiln_token,
    replace_part,
    return_to_service,
    revoke_kiln_token,
    set_shelves,
    take_out_of_service,
)
from firings.actions.watch import set_watch_limits
from firings.api.exact import ExactSerializer, ReasonSerializer
from firings.api.kiln_serializers import (
    CareTaskSerializer,
    KilnEditSerializer,
    KilnKeyMadeSerializer,
    KilnKeySerializer,
    KilnNowSerializer,
    KilnSerializer,
    NewKilnKeySerializer,
    NewKilnSerializer,
    NewPartSerializer,
    PartSerializer,
    ReplacePartSerializer,
    ReturnSerializer,
    ShelvesWantedSerializer,
    WatchLimitsSerializer,
)
from firings.models import (
    STAFF,
    CareTask,
    Firing,
    FiringPolicy,
    Kiln,
    KilnPart,
    KilnToken,
    WatchLimits,
)
from studio.api.access import holds
from studio.api.received import received
from studio.models import Role


class KilnViewSet(viewsets.ReadOnlyModelViewSet[Kiln]):
    """The kilns of the studio."""

    queryset = Kiln.objects.prefetch_related(
        "shelf_sets",
        Prefetch("care_tasks", CareTask.objects.filter(done_at=None), to_attr="open_care"),
    )
    serializer_class = KilnSerializer
    permission_classes = (IsAuthenticated,)
    lookup_value_converter = "int"

    def _answer(
        self, act: Any, request: Request, sent: type[ExactSerializer] | None = None, **more: Any
    ) -> Response:
        """Do `act` to the kiln in the address and show what came of it."""
        kiln = self.get_object()
        fields = received(sent, request) if sent else {}
        act(kiln=kiln, by=request.user, at=timezone.now(), **fields, **more)
        return Response(KilnSerializer(self.get_object()).data)

    @extend_schema(request=NewKilnSerializer, responses={201: KilnSerializer})
    def create(self, request: Request) -> Response:
        """Add a kiln with its shelves. Its first firing runs empty."""
        fields = received(NewKilnSerializer, request)
        wanted = ShelvesWanted(**fields.pop("shelves"))
        kiln = add_kiln(by=request.user, at=timezone.now(), shelves=wanted, fields=fields)
        made = self.get_queryset().get(pk=kiln.pk)
        return Response(KilnSerializer(made).data, status=HTTP_201_CREATED)

    @extend_schema(request=KilnEditSerializer, responses=KilnSerializer)
    def partial_update(self, request: Request, pk: int) -> Response:
        """Change what the kiln's plate and set-up say."""
        fields = received(KilnEditSerializer, request, partial=True)
        return self._answer(edit_kiln, request, fields=fields)

    @extend_schema(responses=KilnNowSerializer)
    @action(detail=True, methods=["get"])
    def now(self, request: Request, pk: int) -> Response:
        """What is in the kiln and what was measured last."""
        kiln = self.get_object()
        seen = {
            "id": kiln.pk,
            "name": kiln.name,
            "state": kiln.state,
            "firing": Firing.objects.taking_the_kiln().filter(kiln=kiln).first(),
            "opening_limit_c": FiringPolicy.current().opening_limit_c,
        }
        return Response(KilnNowSerializer(seen).data)

    @extend_schema(methods=["GET"], responses=WatchLimitsSerializer)
    @extend_schema(
        methods=["PATCH"], request=WatchLimitsSerializer, responses=WatchLimitsSerializer
    )
    @action(detail=True, methods=["get", "patch"])
    def watch(self, request: Request, pk: int) -> Response:
        """When the watch over this kiln speaks."""
        kiln = self.get_object()
        limits = WatchLimits.objects.filter(kiln=kiln).first() or WatchLimits(kiln=kiln)
        if request.method == "PATCH":
            sent = received(WatchLimitsSerializer, request, partial=True)
            limits = set_watch_limits(by=request.user, at=timezone.now(), kiln=kiln, fields=sent)
        return Response(WatchLimitsSerializer(limits).data)

    @extend_schema(request=ShelvesWantedSerializer, responses=KilnSerializer)
    @action(detail=True, methods=["put"])
    def shelves(self, request: Request, pk: int) -> Response:
        """Set the standard shelves; loads that were made keep theirs."""
        wanted = ShelvesWanted(**received(ShelvesWantedSerializer, request))
        return self._answer(set_shelves, request, shelves=wanted)

    @extend_schema(request=ReasonSerializer, responses=KilnSerializer)
    @action(detail=True, methods=["post"], url_path="take-out-of-service")
    def take_out_of_service(self, request: Request, pk: int) -> Response:
        """Nobody starts this kiln until it is back."""
        return self._answer(take_out_of_service, request, ReasonSerializer)

    @extend_schema(request=ReturnSerializer, responses=KilnSerializer)
    @action(detail=True, methods=["post"], url_path="return-to-service")
    def return_to_service(self, request: Request, pk: int) -> Response:
        """Back from repair; without an empty first firing only with a reason."""
        return self._answer(return_to_service, request, ReturnSerializer)


class OfKilnViewSet(viewsets.GenericViewSet[Any]):
    """What belongs to the kiln in the address."""

    lookup_value_converter = "int"

    def get_queryset(self) -> QuerySet[Any]:
        return super().get_queryset().filter(kiln=self.kwargs["kiln_pk"])

    def list(self, request: Request, kiln_pk: int) -> Response:
        self.kiln()
        page = self.paginate_queryset(self.get_queryset())
        return self.get_paginated_response(self.get_serializer(page, many=True).data)

    def kiln(self) -> Kiln:
        return get_object_or_404(Kiln, pk=self.kwargs["kiln_pk"])

    def answer(
        self, act: Any, request: Request, word: str, sent: type[ExactSerializer] | None = None
    ) -> Response:
        """Do `act` to the record in the address and show what came of it."""
        fields = received(sent, request) if sent else {}
        about = {word: self.get_object()}
        record = act(by=request.user, at=timezone.now(), **about, **fields)
        return Response(self.get_serializer(record).data)


class PartViewSet(OfKilnViewSet):
    """Parts that wear: what they cost and how long they last."""

    queryset = KilnPart.objects.all()
    serializer_class = PartSerializer
    permission_classes = (holds(*STAFF),)

    @extend_schema(request=NewPartSerializer, responses={201: PartSerializer})
    def create(self, request: Request, kiln_pk: int) -> Response:
        """Note a part that was fitted."""
        sent = received(NewPartSerializer, request)
        part = add_part(by=request.user, at=timezone.now(), kiln=self.kiln(), **sent)
        return Response(PartSerializer(part).data, status=HTTP_201_CREATED)

    @extend_schema(request=ReplacePartSerializer, responses=PartSerializer)
    @action(detail=True, methods=["post"])
    def replace(self, request: Request, kiln_pk: int, pk: int) -> Response:
        """Retire the part and fit its like; the answer is the new one."""
        return self.answer(replace_part, request, "part", ReplacePartSerializer)


class CareViewSet(OfKilnViewSet):
    """Care tasks, open and done."""

    queryset = CareTask.objects.all()
    serializer_class = CareTaskSerializer
    permission_classes = (holds(*STAFF),)

    @extend_schema(request=None, responses=CareTaskSerializer)
    @action(detail=True, methods=["post"])
    def finish(self, request: Request, kiln_pk: int, pk: int) -> Response:
        """The task is done."""
        return self.answer(finish_care, request, "task")


class KilnKeyViewSet(OfKilnViewSet):
    """Keys of loggers and meters, for managers."""

    queryset = KilnToken.objects.all()
    serializer_class = KilnKeySerializer
    permission_classes = (holds(Role.MANAGER),)

    @extend_schema(request=NewKilnKeySerializer, responses={201: KilnKeyMadeSerializer})
    def create(self, request: Request, kiln_pk: int) -> Response:
        """Make a key; the answer holds its secret, this once."""
        name = received(NewKilnKeySerializer, request)["name"]
        token, secret = issue_kiln_token(
            by=request.user, at=timezone.now(), kiln=self.kiln(), name=name
        )
        answer = {**KilnKeySerializer(token).data, "secret": secret}
        return Response(answer, status=HTTP_201_CREATED)

    @extend_schema(request=None, responses=KilnKeySerializer)
    @action(detail=True, methods=["post"])
    def revoke(self, request: Request, kiln_pk: int, pk: int) -> Response:
        """The key stops working at once."""
        return self.answer(revoke_kiln_token, request, "token")
