"""One shape for everything the API refuses:

{"code": "piece_too_tall", "message": "...", "fields": {"height_mm": ["..."]}, "facts": {...}}
"""

from __future__ import annotations

from typing import Any

from django.core.exceptions import PermissionDenied
from django.http import Http404
from rest_framework import exceptions
from rest_framework.response import Response
from rest_framework.views import exception_handler

from studio.refusals import Refusal

WITHOUT_FIELD = "non_field_errors"


def answer(fault: Exception, context: dict[str, Any]) -> Response | None:
    """The API's answer to a refusal of ours or an error of the framework; None for a crash."""
    if isinstance(fault, Refusal):
        fields = {fault.field: [fault.message]} if fault.field else {}
        return Response(_envelope(fault.code, fault.message, fields, fault.facts), fault.status)
    response = exception_handler(fault, context)
    if response is not None:
        response.data = _from_framework(fault)
    return response


def _envelope(
    code: str, message: str, fields: dict[str, Any], facts: dict[str, Any]
) -> dict[str, Any]:
    return {"code": code, "message": message, "fields": fields, "facts": facts}


def _from_framework(fault: Exception) -> dict[str, Any]:
    if isinstance(fault, exceptions.ValidationError):
        fields = fault.detail if isinstance(fault.detail, dict) else {WITHOUT_FIELD: fault.detail}
        return _envelope("invalid", _summary(fields), fields, {})
    if isinstance(fault, Http404):
        fault = exceptions.NotFound()
    elif isinstance(fault, PermissionDenied):
        fault = exceptions.PermissionDenied()
    if isinstance(fault, exceptions.APIException):
        facts = {"wait_s": fault.wait} if isinstance(fault, exceptions.Throttled) else {}
        return _envelope(str(fault.get_codes()), str(fault.detail), {}, facts)
    return _envelope("error", "The request was refused.", {}, {})


def _summary(fields: dict[str, Any]) -> str:
    """A sentence that names the fields to look at."""
    named = [name for name in fields if name != WITHOUT_FIELD]
    if named:
        return f"Please correct: {', '.join(named)}."
    first = fields[WITHOUT_FIELD][0]
    return first if isinstance(first, str) else "Please correct what is marked in fields."
