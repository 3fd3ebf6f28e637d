"""Statements, their PDF, and the shares with their working."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema, extend_schema_view
from rest_framework import serializers
from rest_framework.negotiation import BaseContentNegotiation
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.views import APIView

from billing.api.of_account import ACCOUNT, OfAccountViewSet
from billing.models import Share, Statement
from billing.statement_pdf import render_statement_pdf


class StatementSerializer(serializers.ModelSerializer[Statement]):
    account = serializers.SlugRelatedField(slug_field="number", read_only=True)
    month = serializers.DateField(source="close.month", help_text="Its first day.")

    class Meta:
        model = Statement
        fields = (
            "number",
            "account",
            "month",
            "issued_at",
            "due_on",
            "opening_minor",
            "charges_minor",
            "credits_minor",
            "payments_minor",
            "closing_minor",
        )
        read_only_fields = fields


class StatementDetailSerializer(StatementSerializer):
    """With the content that was frozen when it was issued."""

    class Meta(StatementSerializer.Meta):
        fields = (*StatementSerializer.Meta.fields, "content", "content_hash")
        read_only_fields = fields


class ShareSerializer(serializers.ModelSerializer[Share]):
    """What one booking carries of a firing's cost."""

    slip = serializers.CharField(source="booking.slip", read_only=True)
    account = serializers.SlugRelatedField(slug_field="number", read_only=True)
    firing = serializers.IntegerField(source="cost.firing_id", read_only=True)
    posted_on = serializers.DateField(source="cost.entry.on", read_only=True, default=None)
    reversed_at = serializers.DateTimeField(source="cost.reversed_at", read_only=True)

    class Meta:
        model = Share
        fields = (
            "id",
            "slip",
            "account",
            "firing",
            "cost",
            "posted_on",
            "area_mm2",
            "split_minor",
            "amount_minor",
            "reversed_at",
        )
        read_only_fields = fields


class ShareDetailSerializer(ShareSerializer):
    """With its working: the pool's parts, the split's figures, and it all in sentences."""

    class Meta(ShareSerializer.Meta):
        fields = (*ShareSerializer.Meta.fields, "working")
        read_only_fields = fields


@extend_schema_view(list=extend_schema(parameters=[ACCOUNT]))
class StatementViewSet(OfAccountViewSet):
    """Statements, newest first."""

    queryset = Statement.objects.select_related("account", "close")
    lookup_field = "number"

    def get_queryset(self) -> QuerySet[Statement]:
        seen = super().get_queryset()
        # a statement's content may be long, and a list shows none of it
        return seen if self.action == "retrieve" else seen.defer("content")

    def get_serializer_class(self) -> type[StatementSerializer]:
        return StatementDetailSerializer if self.action == "retrieve" else StatementSerializer


@extend_schema_view(list=extend_schema(parameters=[ACCOUNT]))
class ShareViewSet(OfAccountViewSet):
    """Shares of firings' costs, newest first; one of them with its working."""

    queryset = Share.objects.select_related("account", "booking", "cost__entry").order_by("-pk")

    def get_serializer_class(self) -> type[ShareSerializer]:
        return ShareDetailSerializer if self.action == "retrieve" else ShareSerializer


class WhateverIsAccepted(BaseContentNegotiation):
    """A PDF is a PDF for whoever asks; a refusal is JSON."""

    def select_parser(self, request: Request, parsers: Any) -> Any:
        return parsers[0]

    def select_renderer(self, request: Request, renderers: Any, format_suffix: Any = None) -> Any:
        return renderers[0], renderers[0].media_type


class StatementPdfView(APIView):
    """A statement as an accessible PDF."""

    permission_classes = (IsAuthenticated,)
    content_negotiation_class = WhateverIsAccepted

    @extend_schema(
        responses={(200, "application/pdf"): OpenApiTypes.BINARY}, operation_id="statements_pdf"
    )
    def get(self, request: Request, number: int) -> HttpResponse:
        seen = Statement.objects.seen_by(request.user)  # type: ignore[arg-type]
        statement = get_object_or_404(seen.select_related("account", "close"), number=number)
        answer = HttpResponse(render_statement_pdf(statement), content_type="application/pdf")
        answer["Content-Disposition"] = f'attachment; filename="statement-{number}.pdf"'
        return answer
