"""What accounts owe, and credits that lower it."""

from __future__ import annotations

from typing import Any

from django.shortcuts import get_object_or_404
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.generics import GenericAPIView
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.status import HTTP_201_CREATED
from rest_framework.views import APIView

from billing.actions.ageing import AgedAccount, aged_accounts
from billing.actions.balances import balance_minor_of
from billing.actions.ledger import local_day
from billing.actions.payments import give_credit
from billing.api.journal import EntrySerializer, entries
from firings.api.exact import ExactSerializer
from studio.api.access import holds
from studio.api.received import received
from studio.models import Account, Role


class BalanceSerializer(serializers.Serializer[Any]):
    account = serializers.IntegerField(help_text="The account's number.")
    on = serializers.DateField()
    balance_minor = serializers.IntegerField(help_text="Owed when positive, in credit if negative.")


class AgedBalanceSerializer(serializers.Serializer[Any]):
    """A balance by days past its due date; the parts sum to it."""

    account = serializers.IntegerField(source="account.number")
    name = serializers.CharField(source="account.name")
    balance_minor = serializers.IntegerField()
    current_minor = serializers.IntegerField(source="aged.current_minor")
    days_1_to_30_minor = serializers.IntegerField(source="aged.days_1_to_30_minor")
    days_31_to_60_minor = serializers.IntegerField(source="aged.days_31_to_60_minor")
    days_61_to_90_minor = serializers.IntegerField(source="aged.days_61_to_90_minor")
    over_90_minor = serializers.IntegerField(source="aged.over_90_minor")


class CreditSerializer(ExactSerializer):
    amount_minor = serializers.IntegerField(help_text="More than 0.")
    reason = serializers.CharField(
        max_length=150, help_text="The people of the account read it on their statement."
    )


class BalancesView(GenericAPIView[Any]):
    """All accounts with what they owe now."""

    permission_classes = (holds(Role.TREASURER, Role.MANAGER),)
    serializer_class = AgedBalanceSerializer

    def get_queryset(self) -> list[AgedAccount]:  # type: ignore[override]
        return aged_accounts(local_day(timezone.now()))

    @extend_schema(responses=AgedBalanceSerializer(many=True), operation_id="balances_list")
    def get(self, request: Request) -> Response:
        page = self.paginate_queryset(self.get_queryset())  # type: ignore[arg-type]
        return self.get_paginated_response(AgedBalanceSerializer(page, many=True).data)


class BalanceView(APIView):
    """What one account owes now; a member's own only."""

    @extend_schema(responses=BalanceSerializer, operation_id="account_balance")
    def get(self, request: Request, number: int) -> Response:
        account = get_object_or_404(Account.objects.seen_by(request.user), number=number)
        today = local_day(timezone.now())
        found = {
            "account": number,
            "on": today,
            "balance_minor": balance_minor_of(account, today),
        }
        return Response(BalanceSerializer(found).data)


class CreditView(APIView):
    """Credits at the studio's expense."""

    permission_classes = (holds(Role.TREASURER, Role.MANAGER),)

    @extend_schema(
        request=CreditSerializer, responses={201: EntrySerializer}, operation_id="account_credit"
    )
    def post(self, request: Request, number: int) -> Response:
        account = get_object_or_404(Account, number=number)
        sent = received(CreditSerializer, request)
        entry = give_credit(by=request.user, at=timezone.now(), account=account, **sent)
        return Response(EntrySerializer(entries().get(pk=entry.pk)).data, HTTP_201_CREATED)
