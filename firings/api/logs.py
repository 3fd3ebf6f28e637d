"""A kiln's log as a file: looked at, and taken in as a person says it is to be read."""

from __future__ import annotations

from typing import Any

from django.core.files.uploadedfile import UploadedFile
from django.shortcuts import get_object_or_404
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.parsers import MultiPartParser
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from firings.actions.take_in_log import remembered_layout, take_in_log, unreadable
from firings.api.exact import ExactSerializer, MomentField
from firings.calculations.readings_file import (
    MAX_LOG_BYTES,
    ColumnMapping,
    LogFileError,
    LogPreview,
    preview_log,
)
from firings.models import Firing
from studio.actions.permits import require_role
from studio.api.received import received
from studio.models import Role


class LogSerializer(ExactSerializer):
    """A log file."""

    log = serializers.FileField()

    def validate_log(self, log: UploadedFile) -> UploadedFile:
        if (log.size or 0) > MAX_LOG_BYTES:
            limit_mb = MAX_LOG_BYTES // 1024**2
            raise serializers.ValidationError(
                f"At most {limit_mb} MB can be read: send it in parts."
            )
        return log


class TakeInLogSerializer(LogSerializer):
    """A log file, and how it is to be read: as the preview says, with what is put right."""

    layout = serializers.JSONField(
        required=False, help_text="As the preview gives it; left out: as the preview would."
    )
    log_started_at = MomentField(
        required=False, help_text="Needed by a file that counts the time from its start."
    )
    allow_disorder = serializers.BooleanField(default=False)

    def validate_layout(self, layout: Any) -> ColumnMapping:
        try:
            return ColumnMapping.from_json(layout)
        except (ValueError, AttributeError) as error:
            raise serializers.ValidationError(f"{error}") from error


class LogPreviewSerializer(serializers.Serializer[None]):
    """How a file seems to be laid out; `is_remembered` when the kiln's last log had its titles."""

    titles = serializers.ListField(child=serializers.CharField())
    first_rows = serializers.ListField(child=serializers.ListField(child=serializers.CharField()))
    line_count = serializers.IntegerField()
    warnings = serializers.ListField(child=serializers.CharField())
    is_remembered = serializers.BooleanField()
    layout = serializers.JSONField()


class TakenInSerializer(serializers.Serializer[None]):
    stored = serializers.IntegerField()
    already_known = serializers.IntegerField()
    firing = serializers.IntegerField()
    warnings = serializers.ListField(child=serializers.CharField())


class LogPreviewView(APIView):
    """Look at a log file before it is taken in."""

    permission_classes = (IsAuthenticated,)
    parser_classes = (MultiPartParser,)

    @extend_schema(
        request={"multipart/form-data": LogSerializer},
        responses=LogPreviewSerializer,
        operation_id="firings_log_preview_create",
    )
    def post(self, request: Request, pk: int) -> Response:
        """Guess the columns of a log file, or find how the kiln's last one was read."""
        require_role(request.user, Role.CREW)
        firing = get_object_or_404(Firing.objects.select_related("kiln"), pk=pk)
        seen = _seen(received(LogSerializer, request)["log"], firing)
        known = remembered_layout(firing.kiln, seen)
        answer = {
            "titles": seen.header,
            "first_rows": seen.first_rows,
            "line_count": seen.line_count,
            "warnings": seen.warnings,
            "is_remembered": known is not None,
            "layout": (known or seen.mapping()).to_json(),
        }
        return Response(LogPreviewSerializer(answer).data)


class LogView(APIView):
    """Take a log file in."""

    permission_classes = (IsAuthenticated,)
    parser_classes = (MultiPartParser,)

    @extend_schema(
        request={"multipart/form-data": TakeInLogSerializer},
        responses=TakenInSerializer,
        operation_id="firings_log_create",
    )
    def post(self, request: Request, pk: int) -> Response:
        """Store the readings of a log file, whole or not at all; twice changes nothing."""
        firing = get_object_or_404(Firing.objects.select_related("kiln"), pk=pk)
        sent = received(TakeInLogSerializer, request)
        require_role(request.user, Role.CREW)
        seen = _seen(sent["log"], firing)
        mapping = sent.get("layout") or remembered_layout(firing.kiln, seen) or seen.mapping()
        taken = take_in_log(
            by=request.user,
            at=timezone.now(),
            firing=firing,
            log=sent["log"].chunks(),
            mapping=mapping,
            titles=seen.header,
            log_started_at=sent.get("log_started_at"),
            allow_disorder=sent["allow_disorder"],
        )
        answer = {**vars(taken), "firing": firing.pk}
        return Response(TakenInSerializer(answer).data)


def _seen(log: UploadedFile, firing: Firing) -> LogPreview:
    try:
        return preview_log(log.chunks(), thermocouple=firing.kiln.thermocouple_type)
    except LogFileError as error:
        raise unreadable(error) from error
