"""Payments: read, record, take back."""

from __future__ import annotations

from django.utils import timezone
from drf_spectacular.utils import extend_schema, extend_schema_view
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.permissions import BasePermission
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.status import HTTP_201_CREATED

from billing.actions.payments import REFERENCE_LENGTH_MAX, record_payment, reverse_payment
from billing.api.of_account import ACCOUNT, OfAccountViewSet
from billing.models import Payment, PaymentMethod
from firings.api.exact import ExactSerializer, ReasonSerializer
from studio.api.access import holds
from studio.api.received import received
from studio.models import Account, Role


class PaymentSerializer(serializers.ModelSerializer[Payment]):
    account = serializers.SlugRelatedField(slug_field="number", read_only=True)
    is_reversed = serializers.SerializerMethodField()

    class Meta:
        model = Payment
        fields = (
            "id",
            "account",
            "received_on",
            "amount_minor",
            "method",
            "reference",
            "recorded_at",
            "entry",
            "is_reversed",
        )
        read_only_fields = fields

    def get_is_reversed(self, payment: Payment) -> bool:
        return getattr(payment.entry, "reversed_by", None) is not None


class RecordPaymentSerializer(ExactSerializer):
    account = serializers.SlugRelatedField(slug_field="number", queryset=Account.objects.all())
    received_on = serializers.DateField()
    amount_minor = serializers.IntegerField(help_text="Negative for money paid back.")
    method = serializers.ChoiceField(choices=PaymentMethod.choices)
    reference = serializers.CharField(
        max_length=REFERENCE_LENGTH_MAX, required=False, allow_blank=True, default=""
    )
    confirm_duplicate = serializers.BooleanField(
        required=False, default=False, help_text="The same payment was really made twice."
    )


@extend_schema_view(list=extend_schema(parameters=[ACCOUNT]))
class PaymentViewSet(OfAccountViewSet):
    """Payments, newest first."""

    queryset = Payment.objects.select_related("account", "entry", "entry__reversed_by")
    serializer_class = PaymentSerializer

    def get_permissions(self) -> list[BasePermission]:
        if self.action in ("create", "reverse"):
            return [holds(Role.TREASURER)()]
        return super().get_permissions()  # type: ignore[return-value]

    @extend_schema(request=RecordPaymentSerializer, responses={201: PaymentSerializer})
    def create(self, request: Request) -> Response:
        """Record a payment. The same one a second time needs `confirm_duplicate`."""
        sent = received(RecordPaymentSerializer, request)
        payment = record_payment(by=request.user, at=timezone.now(), **sent)
        return Response(PaymentSerializer(payment).data, status=HTTP_201_CREATED)

    @extend_schema(request=ReasonSerializer, responses=PaymentSerializer)
    @action(detail=True, methods=["post"])
    def reverse(self, request: Request, pk: int) -> Response:
        """Take a payment back, with a reason."""
        sent = received(ReasonSerializer, request)
        reverse_payment(by=request.user, at=timezone.now(), payment=self.get_object(), **sent)
        return Response(PaymentSerializer(self.get_object()).data)
