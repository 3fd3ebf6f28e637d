"""Refunds for faults of the kiln."""

from __future__ import annotations

from django.utils import timezone
from drf_spectacular.utils import extend_schema, extend_schema_view
from rest_framework import serializers
from rest_framework.permissions import BasePermission
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.status import HTTP_201_CREATED

from billing.actions.refunds import REASON_LENGTH_MAX, refund_share
from billing.api.of_account import ACCOUNT, OfAccountViewSet
from billing.models import Refund, Share
from firings.api.exact import ExactSerializer
from firings.models import Piece
from studio.api.access import holds
from studio.api.received import received
from studio.models import Role


class RefundSerializer(serializers.ModelSerializer[Refund]):
    account = serializers.SlugRelatedField(slug_field="number", read_only=True)
    slip = serializers.CharField(source="share.booking.slip", read_only=True)
    is_reversed = serializers.SerializerMethodField()

    class Meta:
        model = Refund
        fields = (
            "id",
            "share",
            "slip",
            "account",
            "piece",
            "amount_minor",
            "basis_points",
            "reason",
            "made_at",
            "entry",
            "is_reversed",
        )
        read_only_fields = fields

    def get_is_reversed(self, refund: Refund) -> bool:
        return getattr(refund.entry, "reversed_by", None) is not None


class GiveRefundSerializer(ExactSerializer):
    share = serializers.PrimaryKeyRelatedField(queryset=Share.objects.all())
    piece = serializers.PrimaryKeyRelatedField(
        queryset=Piece.objects.all(), required=False, allow_null=True, default=None
    )
    amount_minor = serializers.IntegerField(required=False, allow_null=True, default=None)
    basis_points = serializers.IntegerField(
        required=False,
        allow_null=True,
        default=None,
        help_text="Hundredths of a percent of what was charged, instead of an amount.",
    )
    reason = serializers.CharField(max_length=REASON_LENGTH_MAX)


@extend_schema_view(list=extend_schema(parameters=[ACCOUNT]))
class RefundViewSet(OfAccountViewSet):
    """What was given back of shares, newest first. Undone by reversing its entry."""

    queryset = Refund.objects.select_related("account", "share__booking", "entry__reversed_by")

    def get_serializer_class(self) -> type[RefundSerializer]:
        return RefundSerializer

    def get_permissions(self) -> list[BasePermission]:
        if self.action in ("list", "retrieve"):
            return super().get_permissions()
        return [holds(Role.CREW, Role.TREASURER, Role.MANAGER)()]

    @extend_schema(request=GiveRefundSerializer, responses={201: RefundSerializer})
    def create(self, request: Request) -> Response:
        """Give back part of a share, or of one piece's part of it."""
        sent = received(GiveRefundSerializer, request)
        refund = refund_share(by=request.user, at=timezone.now(), **sent)
        shown = self.queryset.get(pk=refund.pk)
        return Response(RefundSerializer(shown).data, status=HTTP_201_CREATED)
