"""Memberships, who holds them, and who worked at a firing."""

from __future__ import annotations

from django.shortcuts import get_object_or_404
from django.utils import timezone
from drf_spectacular.utils import extend_schema, extend_schema_view
from rest_framework import mixins, serializers, viewsets
from rest_framework.permissions import BasePermission
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.status import HTTP_201_CREATED, HTTP_204_NO_CONTENT

from billing.actions.crew_turns import MINUTES_MAX, note_crew_turn, strike_crew_turn
from billing.actions.memberships import (
    NAME_LENGTH_MAX,
    add_membership,
    change_holding,
    edit_membership,
    give_membership,
)
from billing.api.of_account import ACCOUNT, OfAccountViewSet
from billing.models import CrewTurn, Membership, MembershipHolding, MembershipKind
from firings.api.exact import ExactSerializer
from firings.models import Firing
from studio.api.access import holds
from studio.api.received import received
from studio.models import Account, Person, Role

KEEPERS = (Role.TREASURER, Role.MANAGER)
BASIS_POINTS = "Hundredths of a percent, of a subsidy, a surcharge or a part back for crew."
AMOUNT = "Minor units free each month, or credited for a firing or an hour."
AREA = "Shelf area free each month."


class MembershipSerializer(serializers.ModelSerializer[Membership]):
    class Meta:
        model = Membership
        fields = ("id", "name", "kind", "basis_points", "amount_minor", "area_mm2", "is_offered")
        read_only_fields = fields


class NewMembershipSerializer(ExactSerializer):
    name = serializers.CharField(max_length=NAME_LENGTH_MAX)
    kind = serializers.ChoiceField(choices=MembershipKind.choices)
    basis_points = serializers.IntegerField(required=False, default=0, help_text=BASIS_POINTS)
    amount_minor = serializers.IntegerField(required=False, default=0, help_text=AMOUNT)
    area_mm2 = serializers.IntegerField(required=False, default=0, help_text=AREA)


class EditMembershipSerializer(ExactSerializer):
    name = serializers.CharField(max_length=NAME_LENGTH_MAX)
    basis_points = serializers.IntegerField(help_text=BASIS_POINTS)
    amount_minor = serializers.IntegerField(help_text=AMOUNT)
    area_mm2 = serializers.IntegerField(help_text=AREA)
    is_offered = serializers.BooleanField()


class MembershipViewSet(viewsets.ReadOnlyModelViewSet[Membership]):
    """What accounts may hold, by name. Final once it has changed a charge."""

    queryset = Membership.objects.order_by("name")
    serializer_class = MembershipSerializer
    permission_classes = (holds(*KEEPERS),)
    lookup_value_converter = "int"

    @extend_schema(request=NewMembershipSerializer, responses={201: MembershipSerializer})
    def create(self, request: Request) -> Response:
        sent = received(NewMembershipSerializer, request)
        membership = add_membership(by=request.user, at=timezone.now(), **sent)
        return Response(MembershipSerializer(membership).data, status=HTTP_201_CREATED)

    @extend_schema(request=EditMembershipSerializer, responses=MembershipSerializer)
    def partial_update(self, request: Request, pk: int) -> Response:
        """Change what is sent; once it was used, only whether it is still offered."""
        membership = self.get_object()
        known = {name: getattr(membership, name) for name in EditMembershipSerializer().fields}
        sent = received(EditMembershipSerializer, request, partial=True)
        edited = edit_membership(
            by=request.user, at=timezone.now(), membership=membership, **{**known, **sent}
        )
        return Response(MembershipSerializer(edited).data)


class HoldingSerializer(serializers.ModelSerializer[MembershipHolding]):
    account = serializers.SlugRelatedField(slug_field="number", read_only=True)
    membership = MembershipSerializer(read_only=True)

    class Meta:
        model = MembershipHolding
        fields = ("id", "account", "membership", "valid_from", "valid_until", "given_at")
        read_only_fields = fields


class GiveMembershipSerializer(ExactSerializer):
    account = serializers.SlugRelatedField(slug_field="number", queryset=Account.objects.all())
    membership = serializers.PrimaryKeyRelatedField(queryset=Membership.objects.all())
    valid_from = serializers.DateField(help_text="For firings that start on this day or later.")
    valid_until = serializers.DateField(
        required=False, allow_null=True, default=None, help_text="The last day; null for none."
    )


class HoldingDaysSerializer(ExactSerializer):
    valid_until = serializers.DateField(allow_null=True, help_text="The last day; null for none.")


@extend_schema_view(list=extend_schema(parameters=[ACCOUNT]))
class HoldingViewSet(OfAccountViewSet):
    """Who holds which membership. A member reads what the own account holds."""

    queryset = MembershipHolding.objects.select_related("account", "membership")
    serializer_class = HoldingSerializer

    def get_permissions(self) -> list[BasePermission]:
        if self.action in ("list", "retrieve"):
            return super().get_permissions()
        return [holds(*KEEPERS)()]

    @extend_schema(request=GiveMembershipSerializer, responses={201: HoldingSerializer})
    def create(self, request: Request) -> Response:
        """Let an account hold a membership."""
        sent = received(GiveMembershipSerializer, request)
        holding = give_membership(by=request.user, at=timezone.now(), **sent)
        return Response(HoldingSerializer(holding).data, status=HTTP_201_CREATED)

    @extend_schema(request=HoldingDaysSerializer, responses=HoldingSerializer)
    def partial_update(self, request: Request, pk: int) -> Response:
        """Set or take away its last day."""
        sent = received(HoldingDaysSerializer, request)
        holding = change_holding(
            by=request.user, at=timezone.now(), holding=self.get_object(), **sent
        )
        return Response(HoldingSerializer(holding).data)


class CrewTurnSerializer(serializers.ModelSerializer[CrewTurn]):
    class Meta:
        model = CrewTurn
        fields = ("id", "firing", "person", "minutes", "noted_at")
        read_only_fields = fields


class NoteCrewTurnSerializer(ExactSerializer):
    firing = serializers.PrimaryKeyRelatedField(queryset=Firing.objects.all())
    person = serializers.PrimaryKeyRelatedField(queryset=Person.objects.active())
    minutes = serializers.IntegerField(min_value=0, max_value=MINUTES_MAX)


class CrewTurnViewSet(
    mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[CrewTurn]
):
    """Who worked at which firing, newest first: the ground of crew credits."""

    queryset = CrewTurn.objects.select_related("firing").order_by("-pk")
    serializer_class = CrewTurnSerializer
    permission_classes = (holds(Role.CREW, *KEEPERS),)
    lookup_value_converter = "int"

    @extend_schema(request=NoteCrewTurnSerializer, responses={201: CrewTurnSerializer})
    def create(self, request: Request) -> Response:
        """Note somebody's work, until the firing is priced; once more replaces the minutes."""
        sent = received(NoteCrewTurnSerializer, request)
        turn = note_crew_turn(by=request.user, at=timezone.now(), **sent)
        return Response(CrewTurnSerializer(turn).data, status=HTTP_201_CREATED)

    @extend_schema(responses={204: None})
    def destroy(self, request: Request, pk: int) -> Response:
        strike_crew_turn(
            by=request.user, at=timezone.now(), turn=get_object_or_404(self.get_queryset(), pk=pk)
        )
        return Response(status=HTTP_204_NO_CONTENT)
