"""Lists of records that belong to billing accounts."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers, viewsets
from rest_framework.permissions import IsAuthenticated

ACCOUNT = OpenApiParameter("account", OpenApiTypes.INT, description="Only this account, by number.")


class AccountAskedFor(serializers.Serializer[Any]):
    account = serializers.IntegerField(required=False, min_value=0, max_value=2**31 - 1)


class OfAccountViewSet(viewsets.ReadOnlyModelViewSet[Any]):
    """Treasurers and managers see all; others what belongs to their own account."""

    permission_classes: tuple[Any, ...] = (IsAuthenticated,)
    lookup_value_converter = "int"

    def get_queryset(self) -> QuerySet[Any]:
        seen = super().get_queryset().seen_by(self.request.user)  # type: ignore[attr-defined]
        if self.action != "list":
            return seen  # type: ignore[no-any-return]
        asked = AccountAskedFor(data=self.request.query_params)
        asked.is_valid(raise_exception=True)
        number = asked.validated_data.get("account")
        return seen if number is None else seen.filter(account__number=number)  # type: ignore[no-any-return]
