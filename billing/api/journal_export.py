"""The journal as a file for other programs."""

from __future__ import annotations

from typing import Any

from django.http import StreamingHttpResponse
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.views import APIView

from billing.actions.export_journal import FORMATS, export_journal
from billing.api.statements import WhateverIsAccepted
from studio.api.access import holds
from studio.models import Role


class ExportAskedFor(serializers.Serializer[Any]):
    file_format = serializers.ChoiceField(choices=list(FORMATS))
    first = serializers.DateField(required=False)
    last = serializers.DateField(required=False)


class JournalExportView(APIView):
    """The posted entries of a span of days as one file.

    `csv` has a row for each posting, in UTF-8 with a byte order mark; `beancount` and `hledger`
    are plain text with the balances before and after.
    """

    permission_classes = (holds(Role.TREASURER),)
    content_negotiation_class = WhateverIsAccepted

    @extend_schema(
        parameters=[
            OpenApiParameter("file_format", enum=list(FORMATS), required=True),
            OpenApiParameter("first", OpenApiTypes.DATE, description="Else the very first day."),
            OpenApiParameter("last", OpenApiTypes.DATE, description="Up to this day; else today."),
        ],
        responses={
            (200, "text/csv"): OpenApiTypes.STR,
            (200, "text/plain"): OpenApiTypes.STR,
        },
        operation_id="journal_export",
    )
    def get(self, request: Request) -> StreamingHttpResponse:
        asked = ExportAskedFor(data=request.query_params)
        asked.is_valid(raise_exception=True)
        export = export_journal(by=request.user, at=timezone.now(), **asked.validated_data)  # type: ignore[arg-type]
        answer = StreamingHttpResponse(export.pieces, content_type=export.content_type)
        answer["Content-Disposition"] = f'attachment; filename="{export.file_name}"'
        return answer
