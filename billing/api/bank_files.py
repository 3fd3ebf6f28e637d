"""Files of the bank: send one, look at how a table is understood, see what was taken in."""

from __future__ import annotations

from typing import Any

from django.db.models import Count
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import mixins, serializers, viewsets
from rest_framework.decorators import action
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.status import HTTP_201_CREATED

from billing.actions.bank_files import preview_bank_file, take_in_bank_file
from billing.calculations.bank_csv import (
    DATE_ORDERS,
    DECIMAL_MARKS,
    DELIMITERS,
    ROLES,
    CsvMapping,
)
from billing.models import BankFile
from firings.api.exact import ExactSerializer
from studio.api.access import holds
from studio.api.received import received
from studio.models import Role

COLUMNS_AT_MOST = 100


class BankFileSerializer(serializers.ModelSerializer[BankFile]):
    lines_count = serializers.SerializerMethodField(help_text="Lines that were new.")
    warnings = serializers.ListField(child=serializers.CharField())
    bank_accounts = serializers.ListField(child=serializers.CharField())

    class Meta:
        model = BankFile
        fields = (
            "id",
            "name",
            "kind",
            "bank_accounts",
            "warnings",
            "lines_count",
            "lines_known_count",
            "taken_in_at",
        )
        read_only_fields = fields

    def get_lines_count(self, file: BankFile) -> int:
        counted = getattr(file, "lines_count", None)
        return file.lines.count() if counted is None else counted


class ColumnSerializer(ExactSerializer):
    index = serializers.IntegerField(min_value=0, max_value=COLUMNS_AT_MOST - 1)
    role = serializers.ChoiceField(choices=ROLES)


class MappingSerializer(ExactSerializer):
    """How a CSV table is to be read."""

    delimiter = serializers.ChoiceField(choices=DELIMITERS)
    decimal_mark = serializers.ChoiceField(choices=DECIMAL_MARKS)
    date_order = serializers.ChoiceField(choices=DATE_ORDERS)
    first_line = serializers.IntegerField(min_value=1, max_value=100_000, default=1)
    columns = ColumnSerializer(many=True, max_length=COLUMNS_AT_MOST)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        columns = tuple((one["role"], one["index"]) for one in attrs["columns"])
        try:
            return {"mapping": CsvMapping(**{**attrs, "columns": columns})}
        except ValueError as error:
            raise serializers.ValidationError(str(error)) from error


class MappingField(serializers.JSONField):
    """A mapping as a part of a form: JSON in a text."""

    def __init__(self, **options: Any) -> None:
        super().__init__(**{"binary": True, **options})

    def to_internal_value(self, data: Any) -> CsvMapping:
        try:
            read = super().to_internal_value(data)
        except RecursionError:  # brackets nested deeper than Python reads
            self.fail("invalid")
        sent = MappingSerializer(data=read)
        sent.is_valid(raise_exception=True)
        mapping: CsvMapping = sent.validated_data["mapping"]
        return mapping


class SendBankFileSerializer(ExactSerializer):
    file = serializers.FileField(help_text="camt.053 (XML), or CSV with a mapping.")
    mapping = MappingField(
        required=False,
        help_text="For CSV: JSON with delimiter, decimal_mark (`,` or `.`), date_order (iso, "
        "day_first, month_first), first_line and columns, a list of index (from 0) and role. "
        "`preview` gives one to begin with.",
    )


class PreviewBankFileSerializer(ExactSerializer):
    file = serializers.FileField(help_text="CSV.")


class GuessedColumnSerializer(serializers.Serializer[Any]):
    index = serializers.IntegerField()
    title = serializers.CharField()
    role = serializers.ChoiceField(choices=ROLES, allow_null=True)


class CsvPreviewSerializer(serializers.Serializer[Any]):
    """How a table seems to be laid out."""

    delimiter = serializers.ChoiceField(choices=DELIMITERS)
    decimal_mark = serializers.ChoiceField(choices=DECIMAL_MARKS)
    date_order = serializers.ChoiceField(choices=DATE_ORDERS)
    first_line = serializers.IntegerField()
    columns = GuessedColumnSerializer(many=True)
    first_rows = serializers.ListField(child=serializers.ListField(child=serializers.CharField()))
    warnings = serializers.ListField(child=serializers.CharField())


class BankFileViewSet(
    mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[BankFile]
):
    """Files of the bank, newest first."""

    queryset = BankFile.objects.annotate(lines_count=Count("lines")).order_by("-taken_in_at", "-pk")
    serializer_class = BankFileSerializer
    permission_classes = (holds(Role.TREASURER),)
    lookup_value_converter = "int"
    parser_classes = (MultiPartParser,)

    @extend_schema(request=SendBankFileSerializer, responses={201: BankFileSerializer})
    def create(self, request: Request) -> Response:
        """Take a file in, whole or not at all. Its lines then wait to be confirmed."""
        sent = received(SendBankFileSerializer, request)
        taken_in = take_in_bank_file(
            by=request.user,
            at=timezone.now(),
            name=sent["file"].name,
            content=sent["file"].read(),
            mapping=sent.get("mapping"),
        )
        return Response(BankFileSerializer(taken_in).data, status=HTTP_201_CREATED)

    @extend_schema(request=PreviewBankFileSerializer, responses=CsvPreviewSerializer)
    @action(detail=False, methods=["post"])
    def preview(self, request: Request) -> Response:
        """How a CSV table seems to be laid out. Nothing is kept."""
        sent = received(PreviewBankFileSerializer, request)
        preview = preview_bank_file(sent["file"].read())
        return Response(CsvPreviewSerializer(preview).data)
