"""Alarms are raised once for an episode, acknowledged by a person, and over when it is over."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import datetime, timedelta
from decimal import Decimal

from django.db import transaction

from firings.actions.tell_crew import tell_crew
from firings.calculations.watch_words import sentence_of
from firings.models import Alarm, Firing
from firings.refusals import WareRefusal
from studio.actions.permits import require_role
from studio.actions.trail import record_deed
from studio.calculations.quantities import format_rate, format_temperature
from studio.models import Person, Role

REMARK_MAX = 300
# An alarm that comes in later than this, with a log that was carried over, wakes nobody.
LETTER_WITHIN = timedelta(hours=6)


def raise_alarm(
    firing: Firing, kind: str, *, raised_at: datetime, evidence: Mapping[str, float]
) -> Alarm:
    """Write an alarm down, unless it is open already; inside the transaction of what saw it."""
    alarm, _ = Alarm.objects.get_or_create(
        firing=firing,
        kind=kind,
        cleared_at=None,
        defaults={
            "raised_at": raised_at,
            "evidence": dict(evidence),
            "sentence": sentence_of(kind, evidence, _heat_c, _rate_c),
        },
    )
    return alarm


def tell_of_alarm(alarm: Alarm, *, at: datetime) -> None:
    """One letter to each of the crew for one episode; none for what is long past."""
    if at - alarm.raised_at > LETTER_WITHIN:
        return
    tell_crew(
        key=f"alarm:{alarm.pk}",
        kind="alarm",
        at=at,
        facts={"alarm": alarm.pk, "firing": alarm.firing_id},
    )


def clear_alarms(firing: Firing, *, at: datetime, kinds: Collection[str] | None = None) -> int:
    """What is over is over; all of a firing's when no kinds are named. Answers how many."""
    alarms = Alarm.objects.open().filter(firing=firing)
    if kinds is not None:
        alarms = alarms.filter(kind__in=kinds)
    # A log that comes in late may have raised it after `at`, which is when it was seen to end.
    count = 0
    for alarm in alarms:
        alarm.cleared_at = max(at, alarm.raised_at)
        alarm.save(update_fields=["cleared_at"])
        count += 1
    return count


def acknowledge_alarm(*, by: Person, at: datetime, alarm: Alarm, remark: str = "") -> Alarm:
    """A person has seen it, and says so, perhaps with what they found. It switches nothing."""
    require_role(by, Role.CREW, Role.MANAGER)
    if len(remark) > REMARK_MAX:
        raise WareRefusal(
            "remark_too_long", f"Keep the remark to {REMARK_MAX} characters.", field="remark"
        )
    with transaction.atomic(durable=True):
        alarm = Alarm.objects.select_for_update(of=("self",)).get(pk=alarm.pk)
        if alarm.acknowledged_at is not None:
            raise WareRefusal(
                "acknowledged_already",
                f"{alarm.acknowledged_by} has acknowledged this alarm already.",
                status=409,
            )
        alarm.acknowledged_at, alarm.acknowledged_by = at, by
        alarm.remark = remark.strip()
        alarm.save(update_fields=["acknowledged_at", "acknowledged_by", "remark"])
        record_deed(
            alarm.firing,
            "alarm acknowledged",
            by=by,
            at=at,
            why=": ".join(filter(None, [alarm.get_kind_display(), alarm.remark])),
            alarm=alarm.pk,
        )
    return alarm


def _heat_c(temp_c: float) -> str:
    return format_temperature(Decimal(str(temp_c)), "C", digits=1)


def _rate_c(c_per_h: float) -> str:
    return format_rate(Decimal(str(c_per_h)), "C")
