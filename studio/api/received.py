"""What a request sent, checked by a serializer."""

from __future__ import annotations

from typing import Any

from rest_framework.request import Request
from rest_framework.serializers import BaseSerializer


def received(
    serializer: type[BaseSerializer[Any]], request: Request, *, partial: bool = False
) -> dict[str, Any]:
    """The checked fields; what is wrong is answered as 400 with the fields named."""
    checked = serializer(data=request.data, partial=partial)
    checked.is_valid(raise_exception=True)
    return dict(checked.validated_data)
