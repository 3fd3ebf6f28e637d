"""The journal, reversals, and the trial balance."""

from __future__ import annotations

from typing import Any

from django.db.models import Prefetch, QuerySet
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema, extend_schema_view
from rest_framework import serializers, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.status import HTTP_201_CREATED
from rest_framework.views import APIView

from billing.actions.balances import trial_balance_on
from billing.actions.ledger import local_day, reverse_entry
from billing.models import JournalEntry, LedgerKind, Posting
from firings.api.exact import ReasonSerializer
from studio.api.access import holds
from studio.api.received import received
from studio.models import Role

FIRST = OpenApiParameter("first", OpenApiTypes.DATE, description="From this day on.")
LAST = OpenApiParameter("last", OpenApiTypes.DATE, description="Up to this day.")
ON = OpenApiParameter("on", OpenApiTypes.DATE, description="At the end of this day; today if none.")


class PostingSerializer(serializers.ModelSerializer[Posting]):
    account = serializers.CharField(source="account.code", read_only=True)
    name = serializers.CharField(source="account.name", read_only=True)

    class Meta:
        model = Posting
        fields = ("account", "name", "amount_minor", "text")
        read_only_fields = fields


class EntrySerializer(serializers.ModelSerializer[JournalEntry]):
    """A balanced entry: its postings sum to zero, debit positive."""

    postings = PostingSerializer(many=True, read_only=True)

    class Meta:
        model = JournalEntry
        fields = (
            "id",
            "on",
            "text",
            "source",
            "reason",
            "reverses",
            "by",
            "posted_at",
            "postings",
        )
        read_only_fields = fields


class DaysAskedFor(serializers.Serializer[Any]):
    first = serializers.DateField(required=False)
    last = serializers.DateField(required=False)


class DayAskedFor(serializers.Serializer[Any]):
    on = serializers.DateField(required=False)


class TrialBalanceRowSerializer(serializers.Serializer[Any]):
    account = serializers.CharField()
    name = serializers.CharField()
    kind = serializers.ChoiceField(choices=LedgerKind.choices)
    debit_minor = serializers.IntegerField()
    credit_minor = serializers.IntegerField()


class TrialBalanceSerializer(serializers.Serializer[Any]):
    on = serializers.DateField()
    rows = TrialBalanceRowSerializer(many=True)
    debit_total_minor = serializers.IntegerField()
    credit_total_minor = serializers.IntegerField()
    is_balanced = serializers.BooleanField()


def entries() -> QuerySet[JournalEntry]:
    """Posted entries, oldest first, with what is shown of them."""
    postings = Posting.objects.select_related("account").order_by("pk")
    posted = JournalEntry.objects.filter(posted_at__isnull=False)
    return posted.prefetch_related(Prefetch("postings", postings)).order_by("on", "pk")


@extend_schema_view(list=extend_schema(parameters=[FIRST, LAST]))
class JournalViewSet(viewsets.ReadOnlyModelViewSet[JournalEntry]):
    """The journal, oldest entry first."""

    queryset = JournalEntry.objects.all()
    serializer_class = EntrySerializer
    permission_classes = (holds(Role.TREASURER),)
    lookup_value_converter = "int"

    def get_queryset(self) -> QuerySet[JournalEntry]:
        found = entries()
        if self.action != "list":
            return found
        asked = DaysAskedFor(data=self.request.query_params)
        asked.is_valid(raise_exception=True)
        names = {"first": "on__gte", "last": "on__lte"}
        return found.filter(**{names[name]: day for name, day in asked.validated_data.items()})

    @extend_schema(request=ReasonSerializer, responses={201: EntrySerializer})
    @action(detail=True, methods=["post"])
    def reverse(self, request: Request, pk: int) -> Response:
        """Post the mirror image, dated today. The cost of a firing has its own way."""
        sent = received(ReasonSerializer, request)
        reversal = reverse_entry(
            by=request.user, at=timezone.now(), entry=self.get_object(), **sent
        )
        shown = EntrySerializer(self.get_queryset().get(pk=reversal.pk))
        return Response(shown.data, status=HTTP_201_CREATED)


class TrialBalanceView(APIView):
    """Each account of the chart in its column, debit or credit."""

    permission_classes = (holds(Role.TREASURER),)

    @extend_schema(parameters=[ON], responses=TrialBalanceSerializer, operation_id="trial_balance")
    def get(self, request: Request) -> Response:
        asked = DayAskedFor(data=request.query_params)
        asked.is_valid(raise_exception=True)
        on = asked.validated_data.get("on") or local_day(timezone.now())
        columns, accounts = trial_balance_on(on)
        rows = [
            {
                "account": row.account_code,
                "name": accounts[row.account_code].name,
                "kind": accounts[row.account_code].kind,
                "debit_minor": row.debit_minor,
                "credit_minor": row.credit_minor,
            }
            for row in columns.rows
        ]
        answer = {
            "on": on,
            "rows": rows,
            "debit_total_minor": columns.debit_total_minor,
            "credit_total_minor": columns.credit_total_minor,
            "is_balanced": columns.is_balanced,
        }
        return Response(TrialBalanceSerializer(answer).data)
