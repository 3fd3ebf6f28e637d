"""Reckon when what waits will be fired: once for each change of a queue, never in a page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from hashlib import sha256
from itertools import pairwise

from django.db import transaction
from django.db.models import Sum

from firings.calculations.queue_forecast import Forecast, QueuedWare, forecast_queue
from firings.models import (
    Booking,
    BookingForecast,
    Firing,
    FiringState,
    QueueForecast,
)
from studio.models import Studio

# What is longer ago says little about the studio of today. Ours, no source.
LOOKS_BACK = timedelta(days=182)
# So many firings tell of intervals; with fewer, those of the whole stage are asked.
FIRINGS_AT_LEAST = 4
COMING = (FiringState.PLANNED, FiringState.OPEN, FiringState.LOADING)


@dataclass(frozen=True)
class Past:
    """What the firings of the past say: days between them, and the area that one took."""

    intervals_days: tuple[float, ...]
    load_area_mm2: float


def forecast_queues(*, at: datetime) -> int:
    """Reckon every queue that changed since it was last reckoned; answer how many did."""
    waiting = Booking.objects.waiting().filter(firing=None)
    kinds = set(waiting.order_by().values_list("stage", "cone").distinct())
    changed = 0
    for stage, cone in sorted(kinds):
        changed += _forecast_one(stage, cone, at)
    BookingForecast.objects.exclude(booking__in=waiting).delete()
    return changed


def _forecast_one(stage: str, cone: str, at: datetime) -> int:
    with transaction.atomic(durable=True):
        queue = list(Booking.objects.in_queue(stage, cone))
        next_at = _next_firing_at(stage, cone, at)
        fingerprint = _fingerprint(queue, next_at, at)
        known, _ = QueueForecast.objects.select_for_update().get_or_create(
            stage=stage, cone=cone, defaults={"fingerprint": "", "made_at": at}
        )
        if known.fingerprint == fingerprint:
            return 0
        BookingForecast.objects.filter(booking__in=queue).delete()
        BookingForecast.objects.bulk_create(_rows(queue, next_at, at))
        known.fingerprint, known.made_at = fingerprint, at
        known.save(update_fields=["fingerprint", "made_at"])
    return 1


def _fingerprint(queue: Sequence[Booking], next_at: datetime | None, at: datetime) -> str:
    """The same as long as queue, next firing and day are the same."""
    parts = [f"{one.pk} {one.charged_area_mm2} {one.dry_on}" for one in queue]
    text = f"{at:%Y-%m-%d} {next_at} " + ";".join(parts)
    return sha256(text.encode()).hexdigest()


def _next_firing_at(stage: str, cone: str, at: datetime) -> datetime | None:
    coming = Firing.objects.filter(stage=stage, cone=cone, state__in=COMING)
    first = coming.filter(is_empty_first_firing=False).order_by("planned_for").first()
    return max(at, first.planned_for) if first else None


def _rows(
    queue: Sequence[Booking], next_at: datetime | None, at: datetime
) -> list[BookingForecast]:
    if not queue:
        return []
    past = past_of(queue[0].stage, queue[0].cone, at)
    if past is None:
        return []
    today = at.astimezone(Studio.current().zone).date()
    ware = [
        QueuedWare(str(one.pk), one.charged_area_mm2, (one.dry_on - today).days) for one in queue
    ]
    forecasts = forecast_queue(
        ware,
        load_area_mm2=past.load_area_mm2,
        past_intervals_days=past.intervals_days,
        next_in_days=(next_at - at).total_seconds() / 86_400 if next_at else None,
    )
    return [_row(booking, one, at) for booking, one in zip(queue, forecasts, strict=True)]


def _row(booking: Booking, forecast: Forecast, at: datetime) -> BookingForecast:
    zone = Studio.current().zone

    def day(days: float) -> date:
        return (at + timedelta(days=days)).astimezone(zone).date()

    return BookingForecast(
        booking=booking,
        load=forecast.load,
        likely_from=day(forecast.likely_days[0]),
        likely_to=day(forecast.likely_days[1]),
        band_from=day(forecast.band_days[0]),
        band_to=day(forecast.band_days[1]),
    )


def past_of(stage: str, cone: str, at: datetime) -> Past | None:
    """What past firings of this stage and cone say, or of the stage; None with too few."""
    done = Firing.objects.filter(
        stage=stage,
        started_at__gte=at - LOOKS_BACK,
        started_at__lte=at,
        state__in=[FiringState.OPENED, FiringState.CLOSED],
        is_empty_first_firing=False,
    )
    for firings in (done.filter(cone=cone), done):
        rows = list(
            firings.annotate(area=Sum("bookings__charged_area_mm2"))
            .order_by("started_at")
            .values_list("started_at", "area")
        )
        moments = [started_at for started_at, _ in rows if started_at]
        days = [(late - early).total_seconds() / 86_400 for early, late in pairwise(moments)]
        areas = [area for _, area in rows if area]
        if len(rows) >= FIRINGS_AT_LEAST and areas and min(days) > 0:
            return Past(tuple(days), sum(areas) / len(areas))
    return None
