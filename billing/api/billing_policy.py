"""How costs are shared and statements asked for."""

from __future__ import annotations

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from billing.actions.policy import (
    AMOUNT_MINOR_MAX,
    HOW_TO_PAY_LENGTH_MAX,
    PAYMENT_DAYS_MAX,
    TYPED_LENGTH_MAX,
    edit_billing_policy,
)
from billing.calculations.bank_details import PAYEE_LENGTH_MAX
from billing.calculations.sharing_rules import PERCENT_MAX
from billing.models import BillingPolicy, FixedKind, SplitPolicy
from firings.api.exact import ExactSerializer
from studio.api.access import holds
from studio.api.received import received
from studio.models import Role


class BillingPolicySerializer(ExactSerializer):
    split_policy = serializers.ChoiceField(choices=SplitPolicy.choices)
    consumables_per_firing_minor = serializers.IntegerField(min_value=0, max_value=AMOUNT_MINOR_MAX)
    handling_per_firing_minor = serializers.IntegerField(min_value=0, max_value=AMOUNT_MINOR_MAX)
    fixed_kind = serializers.ChoiceField(
        choices=FixedKind.choices,
        help_text="What of a firing's electricity all bookings carry alike, the rest by area.",
    )
    fixed_percent = serializers.IntegerField(min_value=0, max_value=PERCENT_MAX)
    fixed_estimate_minor = serializers.IntegerField(min_value=0, max_value=AMOUNT_MINOR_MAX)
    weighs_height = serializers.BooleanField(
        help_text="Area counts times the height above its shelf."
    )
    minimum_charge_minor = serializers.IntegerField(
        min_value=0,
        max_value=AMOUNT_MINOR_MAX,
        help_text="The least a booking is charged; what it adds is the studio's income.",
    )
    payment_days = serializers.IntegerField(min_value=1, max_value=PAYMENT_DAYS_MAX)
    how_to_pay = serializers.CharField(max_length=HOW_TO_PAY_LENGTH_MAX, allow_blank=True)
    payee_name = serializers.CharField(
        max_length=PAYEE_LENGTH_MAX,
        allow_blank=True,
        help_text="Holder of the bank account that transfers go to; needed with an IBAN.",
    )
    iban = serializers.CharField(
        max_length=TYPED_LENGTH_MAX,
        allow_blank=True,
        help_text="ISO 13616; blanks and lower case are tidied.",
    )
    bic = serializers.CharField(
        max_length=TYPED_LENGTH_MAX,
        allow_blank=True,
        help_text="ISO 9362, 8 or 11 characters; only with an IBAN.",
    )


class BillingPolicyView(APIView):
    """The policy that holds from the next firing and the next close on."""

    permission_classes = (holds(Role.TREASURER, Role.MANAGER),)

    @extend_schema(responses=BillingPolicySerializer, operation_id="billing_policy_read")
    def get(self, request: Request) -> Response:
        return Response(BillingPolicySerializer(BillingPolicy.current()).data)

    @extend_schema(
        request=BillingPolicySerializer,
        responses=BillingPolicySerializer,
        operation_id="billing_policy_edit",
    )
    def patch(self, request: Request) -> Response:
        unchanged = BillingPolicySerializer(BillingPolicy.current()).data
        sent = received(BillingPolicySerializer, request, partial=True)
        policy = edit_billing_policy(by=request.user, at=timezone.now(), **{**unchanged, **sent})
        return Response(BillingPolicySerializer(policy).data)
