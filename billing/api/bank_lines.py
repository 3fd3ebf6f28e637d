"""Lines of the bank: whose they may be, and what becomes of them."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema, extend_schema_field
from rest_framework import mixins, serializers, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.status import HTTP_201_CREATED

from billing.actions.bank_lines import (
    bring_back_bank_line,
    confirm_bank_line,
    confirm_bank_lines,
    set_aside_bank_line,
)
from billing.actions.bank_proposals import WaitingLine, with_proposals
from billing.api.payments import PaymentSerializer
from billing.models import BankLine, BankLineState, Payment
from firings.api.exact import ExactSerializer, ReasonSerializer
from studio.api.access import holds
from studio.api.received import received
from studio.models import Account, Role

AT_ONCE_AT_MOST = 200


class ProposalSerializer(serializers.Serializer[Any]):
    account = serializers.IntegerField(source="account.number")
    why = serializers.CharField()
    is_certain = serializers.BooleanField()
    same_payments = serializers.SerializerMethodField(
        help_text="Payments of this amount within five days that may be the same money."
    )

    def get_same_payments(self, proposal: Any) -> list[int]:
        return [payment.pk for payment in proposal.same]


class BankLineSerializer(serializers.ModelSerializer[BankLine]):
    proposals = serializers.SerializerMethodField(
        help_text="Whose payment it may be, the likeliest first; only while it waits."
    )

    class Meta:
        model = BankLine
        fields = (
            "id",
            "file",
            "line",
            "booked_on",
            "amount_minor",
            "reference",
            "text",
            "counterparty",
            "state",
            "payment",
            "reason",
            "proposals",
        )
        read_only_fields = fields

    @extend_schema_field(ProposalSerializer(many=True))
    def get_proposals(self, line: BankLine) -> list[dict[str, Any]]:
        found: dict[int, WaitingLine] = self.context.get("waiting", {})
        proposals = found[line.pk].proposals if line.pk in found else ()
        return list(ProposalSerializer(proposals, many=True).data)


class ConfirmLineSerializer(ExactSerializer):
    account = serializers.SlugRelatedField(slug_field="number", queryset=Account.objects.all())
    confirm_duplicate = serializers.BooleanField(
        required=False, default=False, help_text="The same was really paid twice."
    )


class ChoiceOfLineSerializer(ExactSerializer):
    line = serializers.PrimaryKeyRelatedField(queryset=BankLine.objects.all())
    account = serializers.SlugRelatedField(slug_field="number", queryset=Account.objects.all())


class ConfirmLinesSerializer(ExactSerializer):
    lines = ChoiceOfLineSerializer(many=True, allow_empty=False, max_length=AT_ONCE_AT_MOST)


class StateAskedFor(serializers.Serializer[Any]):
    state = serializers.ChoiceField(choices=BankLineState.choices, required=False)


STATE = OpenApiParameter(
    "state", OpenApiTypes.STR, enum=BankLineState.values, description="Only lines in this state."
)


class BankLineViewSet(
    mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[BankLine]
):
    """Lines of the bank, newest first."""

    queryset = BankLine.objects.order_by("-booked_on", "-pk")
    serializer_class = BankLineSerializer
    permission_classes = (holds(Role.TREASURER),)
    lookup_value_converter = "int"

    def get_queryset(self) -> QuerySet[BankLine]:
        found = super().get_queryset()
        if self.action != "list":
            return found
        asked = StateAskedFor(data=self.request.query_params)
        asked.is_valid(raise_exception=True)
        state = asked.validated_data.get("state")
        return found if state is None else found.filter(state=state)

    @extend_schema(parameters=[STATE])
    def list(self, request: Request) -> Response:
        lines = self.paginate_queryset(self.get_queryset()) or []
        return self.get_paginated_response(_shown(lines))

    @extend_schema(responses=BankLineSerializer)
    def retrieve(self, request: Request, pk: int) -> Response:
        return Response(_shown([self.get_object()])[0])

    @extend_schema(request=ConfirmLineSerializer, responses={201: PaymentSerializer})
    @action(detail=True, methods=["post"])
    def confirm(self, request: Request, pk: int) -> Response:
        """Take a line as a payment of an account, once."""
        sent = received(ConfirmLineSerializer, request)
        payment = confirm_bank_line(
            by=request.user, at=timezone.now(), line=self.get_object(), **sent
        )
        return _recorded(payment)

    @extend_schema(
        request=ConfirmLinesSerializer,
        responses={201: PaymentSerializer(many=True)},
        operation_id="bank_lines_confirm_many",
    )
    @action(detail=False, methods=["post"], url_path="confirm", pagination_class=None)
    def confirm_many(self, request: Request) -> Response:
        """Take several lines as payments, all or none."""
        sent = received(ConfirmLinesSerializer, request)
        choices = [(one["line"], one["account"]) for one in sent["lines"]]
        payments = confirm_bank_lines(by=request.user, at=timezone.now(), choices=choices)
        return Response(PaymentSerializer(payments, many=True).data, status=HTTP_201_CREATED)

    @extend_schema(request=ReasonSerializer, responses=BankLineSerializer)
    @action(detail=True, methods=["post"], url_path="set-aside")
    def set_aside(self, request: Request, pk: int) -> Response:
        """Keep a line out of the accounts, with a reason."""
        sent = received(ReasonSerializer, request)
        line = set_aside_bank_line(
            by=request.user, at=timezone.now(), line=self.get_object(), **sent
        )
        return Response(_shown([line])[0])

    @extend_schema(request=ReasonSerializer, responses=BankLineSerializer)
    @action(detail=True, methods=["post"], url_path="bring-back")
    def bring_back(self, request: Request, pk: int) -> Response:
        """Let a line wait again that was set aside, or whose payment was reversed."""
        sent = received(ReasonSerializer, request)
        line = bring_back_bank_line(
            by=request.user, at=timezone.now(), line=self.get_object(), **sent
        )
        return Response(_shown([line])[0])


def _shown(lines: list[BankLine]) -> list[dict[str, Any]]:
    waiting = [line for line in lines if line.state == BankLineState.PROPOSED]
    found = {row.line.pk: row for row in with_proposals(waiting)} if waiting else {}
    return list(BankLineSerializer(lines, many=True, context={"waiting": found}).data)


def _recorded(payment: Payment) -> Response:
    return Response(PaymentSerializer(payment).data, status=HTTP_201_CREATED)
