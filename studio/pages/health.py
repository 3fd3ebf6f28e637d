"""What an operator's tools ask: is it alive, is it ready, what are the numbers.

The answers name no person and no cause: the causes are in the log.
"""

from __future__ import annotations

import ipaddress
import secrets
from collections.abc import Callable
from datetime import datetime

import structlog
from django.conf import settings
from django.core.cache import cache
from django.db import Error as DatabaseError
from django.db import connection
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe
from prometheus_client import CONTENT_TYPE_LATEST
from redis.exceptions import RedisError

from studio.metrics import numbers
from studio.models import Notice

# The sweeper comes every 15 s; an older notice means that no worker or no scheduler runs.
OUTBOX_LATE_S = 600

log = structlog.get_logger(__name__)


@require_safe
@never_cache
def alive(request: HttpRequest) -> HttpResponse:
    """The process answers. Restart it when this fails."""
    return HttpResponse("alive\n", content_type="text/plain")


@require_safe
@never_cache
def ready(request: HttpRequest) -> JsonResponse:
    """The parts it stands on answer. Send it no visitors while this is 503.

    A late outbox leaves it ready: the pages work, and taking them away would deliver no mail.
    """
    parts = {"database": _database_answers(), "broker": _broker_answers()}
    is_ready = all(parts.values())
    oldest_s = _oldest_due_s(timezone.now()) if parts["database"] else None
    answer = {
        "ready": is_ready,
        **parts,
        "outbox_oldest_s": oldest_s,
        "outbox_late": oldest_s is not None and oldest_s > OUTBOX_LATE_S,
    }
    return JsonResponse(answer, status=200 if is_ready else 503)


@require_safe
@never_cache
def metrics(request: HttpRequest) -> HttpResponse:
    """Numbers in the Prometheus text format, for the holder of the token or the same machine."""
    if not _may_scrape(request):
        return HttpResponse(
            "Send METRICS_TOKEN as a bearer token.\n", status=403, content_type="text/plain"
        )
    return HttpResponse(numbers(timezone.now()), content_type=CONTENT_TYPE_LATEST)


PROBES = {"/healthz": alive, "/readyz": ready, "/metrics": metrics}


class ProbeMiddleware:
    """Answers probes before hosts and https are looked at.

    What watches a machine asks by its number, without https and not by the public name; the
    answers name no host, so a forged one gains nothing.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return PROBES.get(request.path, self.get_response)(request)


def _may_scrape(request: HttpRequest) -> bool:
    if settings.METRICS_TOKEN:
        expected = f"Bearer {settings.METRICS_TOKEN}"
        sent = request.headers.get("Authorization", "")
        return secrets.compare_digest(sent.encode(), expected.encode())
    # Behind a proxy on this machine every visitor seems to be local.
    return "X-Forwarded-For" not in request.headers and _is_local(request.META["REMOTE_ADDR"])


def _is_local(address: str) -> bool:
    try:
        return ipaddress.ip_address(address).is_loopback
    except ValueError:
        return False


def _database_answers() -> bool:
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
            return cursor.fetchone() == (1,)
    except DatabaseError:
        log.exception("database_does_not_answer")
        return False


def _broker_answers() -> bool:
    try:
        cache.set("ready", 1, timeout=60)
    except (RedisError, OSError):
        log.exception("broker_does_not_answer")
        return False
    return True


def _oldest_due_s(at: datetime) -> int | None:
    """Age of the notice that has been due for longest, in seconds; None when nothing is due."""
    oldest = Notice.objects.due(at).order_by("due_at").values_list("due_at", flat=True).first()
    return None if oldest is None else int((at - oldest).total_seconds())
