"""What `firings` tells people, and when it is still worth telling."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime, timedelta
from typing import Any

from firings.models import Alarm, Booking, BookingState, Firing, FiringPolicy, FiringState
from firings.pages.alarms import seen_by
from studio.models import Notice, Studio
from studio.notice_kinds import NoticeKind, register_kind
from studio.pages.context import units_for


def booking_facts(notice: Notice) -> Mapping[str, Any]:
    """The booking a notice is about, as it is when the letter is written."""
    booking = (
        Booking.objects.select_related("clay", "firing__kiln")
        .prefetch_related("pieces")
        .get(pk=notice.facts["booking"])
    )
    return {"booking": booking, "firing": booking.firing, **_pick_up(notice)}


def firing_facts(notice: Notice) -> Mapping[str, Any]:
    """The firing a notice is about, with its kiln and the limit it opens at."""
    firing = Firing.objects.select_related("kiln").get(pk=notice.facts["firing"])
    measured = notice.facts.get("at")
    return {
        "firing": firing,
        "policy": FiringPolicy.current(),
        "measured_at": datetime.fromisoformat(measured) if measured else None,
    }


def _pick_up(notice: Notice) -> Mapping[str, Any]:
    by = notice.facts.get("pick_up_by")
    return {"pick_up_by": date.fromisoformat(by) if by else None}


def is_waiting_for_pick_up(notice: Notice) -> bool:
    booking = Booking.objects.filter(pk=notice.facts["booking"]).first()
    return booking is not None and booking.state == BookingState.READY


def is_still_closed(notice: Notice) -> bool:
    """A kiln that was opened meanwhile needs nobody to go and open it."""
    firing = Firing.objects.filter(pk=notice.facts["firing"]).first()
    return firing is not None and firing.state == FiringState.COOLED


def alarm_facts(notice: Notice) -> Mapping[str, Any]:
    """The alarm a notice is about, in the degrees of whoever reads it."""
    alarm = Alarm.objects.select_related("firing__kiln").get(pk=notice.facts["alarm"])
    seen = seen_by(alarm, units_for(Studio.current(), notice.person))
    return {
        "alarm": alarm,
        "firing": alarm.firing,
        "sentence": seen.sentence,
        "can_be": seen.can_be,
    }


def is_still_open(notice: Notice) -> bool:
    """What is over meanwhile needs nobody to run."""
    return Alarm.objects.open().filter(pk=notice.facts.get("alarm")).exists()


def is_still_booked(notice: Notice) -> bool:
    booking = Booking.objects.filter(pk=notice.facts["booking"]).first()
    return booking is not None and booking.state not in (
        BookingState.WITHDRAWN,
        BookingState.DECLINED,
    )


KINDS = (
    NoticeKind(
        "booked",
        "Ware is booked",
        "firings",
        expires_after=timedelta(days=2),
        still_true=is_still_booked,
        context=booking_facts,
    ),
    NoticeKind("measured", "Ware was measured again", "firings", context=booking_facts),
    NoticeKind("declined", "Ware was declined", "firings", context=booking_facts),
    NoticeKind(
        "loaded",
        "Ware is being fired",
        "firings",
        expires_after=timedelta(days=2),
        context=firing_facts,
    ),
    NoticeKind("cancelled", "A firing is cancelled", "firings", context=firing_facts),
    NoticeKind("aborted", "A firing was broken off", "firings", context=firing_facts),
    NoticeKind(
        "alarm",
        "Alarm at a kiln",
        "firings",
        expires_after=timedelta(hours=12),
        still_true=is_still_open,
        context=alarm_facts,
    ),
    NoticeKind(
        "cooled",
        "A kiln is at its opening limit",
        "firings",
        expires_after=timedelta(days=2),
        still_true=is_still_closed,
        context=firing_facts,
    ),
    NoticeKind("ready", "Pieces are ready", "firings", context=booking_facts),
    NoticeKind("lost", "Ware was lost", "firings", context=booking_facts),
    NoticeKind(
        "pick_up",
        "Pick-up reminder",
        "firings",
        expires_after=timedelta(days=3),
        still_true=is_waiting_for_pick_up,
        context=booking_facts,
    ),
)


def register_firing_kinds() -> None:
    for kind in KINDS:
        register_kind(kind)
