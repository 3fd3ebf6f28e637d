"""A file of the bank comes in: CSV is looked at first, camt.053 says itself what it means.

Between the two pages of a CSV the file waits in the shared cache for half an hour, for whoever
sent it; the database sees nothing before the whole file has been read without a fault.
"""

from __future__ import annotations

import secrets
from functools import partial
from typing import Any

from django.core.cache import cache
from django.core.paginator import Paginator
from django.db.models import Count
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse as address_of
from django.utils import timezone

from billing.actions.bank_files import (
    check_is_new,
    check_size,
    preview_bank_file,
    take_in_bank_file,
)
from billing.calculations.camt053 import looks_like_xml
from billing.models import BankFile
from billing.pages.bank_forms import BankFileForm, ColumnsForm
from billing.refusals import BillingRefusal
from studio.models import Role
from studio.pages.access import needs
from studio.pages.answers import answer_form

KEPT_FOR_S = 30 * 60
ROWS = 50
DELIMITER_WORDS = {";": "semicolon", "\t": "tab", "|": "upright stroke", ",": "comma"}


@needs(Role.TREASURER)
def send(request: HttpRequest) -> HttpResponse:
    """Choose a file. The answer of the deed is the file taken in, or the key of a kept CSV."""

    def take_in_or_keep(cleaned: dict[str, Any]) -> BankFile | str:
        sent = cleaned["file"]
        content = sent.read()
        if looks_like_xml(content):
            return _take_in(request, sent.name, content)
        check_size(content)
        check_is_new(content)
        preview_bank_file(content)
        key = secrets.token_urlsafe(12)
        cache.set(_cache_key(request, key), (sent.name, content), KEPT_FOR_S)
        return key

    return answer_form(
        request,
        BankFileForm,
        "billing/send_bank_file.html",
        take_in_or_keep,
        done=lambda result: "" if isinstance(result, str) else _taken_in_words(result),
        then=_after_sending,
    )


@needs(Role.TREASURER)
def columns(request: HttpRequest, key: str) -> HttpResponse:
    """Look at the columns of a CSV, put them right, take it in."""
    kept = cache.get(_cache_key(request, key))
    if kept is None:
        raise BillingRefusal(
            "upload_forgotten",
            "This upload is no longer kept: it waits half an hour, for whoever sent it. "
            "Send the file again.",
            status=404,
        )
    name, content = kept
    preview = preview_bank_file(content)

    def take_in(cleaned: dict[str, Any]) -> BankFile:
        taken_in = _take_in(request, name, content, **cleaned)
        cache.delete(_cache_key(request, key))
        return taken_in

    return answer_form(
        request,
        partial(ColumnsForm, preview=preview),
        "billing/bank_columns.html",
        take_in,
        context={"preview": preview, "delimiter": DELIMITER_WORDS[preview.delimiter]},
        done=_taken_in_words,
        then=_after_taking_in,
    )


@needs(Role.TREASURER)
def files(request: HttpRequest) -> HttpResponse:
    """What was taken in, newest first."""
    found = BankFile.objects.select_related("taken_in_by").annotate(lines_count=Count("lines"))
    found = found.order_by("-taken_in_at", "-pk")
    page = Paginator(found, ROWS).get_page(request.GET.get("page"))
    return render(request, "billing/bank_files.html", {"page": page})


@needs(Role.TREASURER)
def file(request: HttpRequest, pk: int) -> HttpResponse:
    """One file, what to look at in it, and what became of its lines."""
    found = get_object_or_404(BankFile.objects.select_related("taken_in_by"), pk=pk)
    lines = found.lines.select_related("payment__account", "payment__entry__reversed_by")
    page = Paginator(lines.order_by("line", "pk"), ROWS).get_page(request.GET.get("page"))
    rows = [(line, line.fate) for line in page]
    return render(request, "billing/bank_file.html", {"file": found, "page": page, "rows": rows})


def _take_in(request: HttpRequest, name: str, content: bytes, **options: Any) -> BankFile:
    return take_in_bank_file(
        by=request.user,
        at=timezone.now(),
        name=name,
        content=content,
        **options,
    )


def _taken_in_words(taken_in: BankFile) -> str:
    new, known = taken_in.lines.count(), taken_in.lines_known_count
    told = f"{new} {'line is' if new == 1 else 'lines are'} new"
    return f"{told}, {known} known already." if known else f"{told}."


def _after_sending(result: BankFile | str) -> str:
    if isinstance(result, str):
        return address_of("billing:bank_columns", args=[result])
    return _after_taking_in(result)


def _after_taking_in(taken_in: BankFile) -> str:
    """On to the lines, unless there is something to look at first."""
    if taken_in.warnings:
        return address_of("billing:bank_file", args=[taken_in.pk])
    return address_of("billing:bank_lines")


def _cache_key(request: HttpRequest, key: str) -> str:
    return f"bank-file:{request.user.pk}:{key}"
