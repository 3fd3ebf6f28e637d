"""Me, people and accounts."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import mixins, viewsets
from rest_framework.decorators import action
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from studio.actions.accounts import move_to_account, rename_account
from studio.actions.people import (
    deactivate_person,
    edit_own_details,
    reactivate_person,
    set_roles,
)
from studio.api.access import holds
from studio.api.received import received
from studio.api.serializers import (
    AccountOfSerializer,
    AccountSerializer,
    DeactivateSerializer,
    MeSerializer,
    OwnDetailsSerializer,
    PersonSerializer,
    RolesSerializer,
)
from studio.models import Account, Person, Role


class MeView(APIView):
    """The person who asks."""

    @extend_schema(responses=MeSerializer, operation_id="me_read")
    def get(self, request: Request) -> Response:
        return Response(MeSerializer(request.user).data)

    @extend_schema(request=OwnDetailsSerializer, responses=MeSerializer, operation_id="me_edit")
    def patch(self, request: Request) -> Response:
        unchanged = OwnDetailsSerializer(request.user).data
        sent = received(OwnDetailsSerializer, request, partial=True)
        person = edit_own_details(by=request.user, at=timezone.now(), **{**unchanged, **sent})
        return Response(MeSerializer(person).data)


class PersonViewSet(viewsets.ReadOnlyModelViewSet[Person]):
    """A manager or treasurer sees all people; others themselves and who shares their account."""

    queryset = Person.objects.select_related("account").prefetch_related("role_holdings")
    serializer_class = PersonSerializer

    def get_queryset(self) -> QuerySet[Person]:
        return super().get_queryset().seen_by(self.request.user)

    def get_permissions(self) -> list[Any]:
        if self.action in ("list", "retrieve"):
            return [IsAuthenticated()]
        return [holds(Role.MANAGER)()]

    def _answer(self, act: Any, request: Request, **sent: Any) -> Response:
        person = act(person=self.get_object(), by=request.user, at=timezone.now(), **sent)
        return Response(PersonSerializer(person).data)

    @extend_schema(request=RolesSerializer, responses=PersonSerializer)
    @action(detail=True, methods=["put"])
    def roles(self, request: Request, pk: str) -> Response:
        """Set exactly these roles."""
        return self._answer(set_roles, request, **received(RolesSerializer, request))

    @extend_schema(request=AccountOfSerializer, responses=PersonSerializer)
    @action(detail=True, methods=["put"])
    def account(self, request: Request, pk: str) -> Response:
        """Charge this person on another account from now on."""
        return self._answer(move_to_account, request, **received(AccountOfSerializer, request))

    @extend_schema(request=DeactivateSerializer, responses=PersonSerializer)
    @action(detail=True, methods=["post"])
    def deactivate(self, request: Request, pk: str) -> Response:
        """End the sign-in, its sessions and its tokens."""
        return self._answer(deactivate_person, request, **received(DeactivateSerializer, request))

    @extend_schema(request=None, responses=PersonSerializer)
    @action(detail=True, methods=["post"])
    def reactivate(self, request: Request, pk: str) -> Response:
        """Let the person sign in again."""
        return self._answer(reactivate_person, request)


class AccountViewSet(
    mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[Account]
):
    """A manager or treasurer sees all accounts; others their own."""

    queryset = Account.objects.all()
    serializer_class = AccountSerializer
    lookup_field = "number"
    lookup_value_converter = "int"

    def get_queryset(self) -> QuerySet[Account]:
        return super().get_queryset().seen_by(self.request.user)

    @extend_schema(request=AccountSerializer, responses=AccountSerializer)
    def partial_update(self, request: Request, number: int) -> Response:
        """Rename the account."""
        sent = received(AccountSerializer, request)
        account = rename_account(
            by=request.user, at=timezone.now(), account=self.get_object(), name=sent["name"]
        )
        return Response(AccountSerializer(account).data)
