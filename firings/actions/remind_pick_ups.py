"""Remind people of ware on the pick-up shelf, until it is collected."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.db import transaction

from firings.models import Booking, BookingState
from studio.actions.outbox import write_notice
from studio.models import Studio


def remind_pick_ups(*, at: datetime) -> int:
    """Write a reminder for each booking that waited another `reminder_days`; answer how many.

    The key counts the reminder, so that running this as often as one likes changes nothing.
    """
    studio = Studio.current()
    every = timedelta(days=max(1, studio.reminder_days))
    waiting = Booking.objects.filter(
        state=BookingState.READY, ready_at__lte=at - every
    ).select_related("member")
    written = 0
    with transaction.atomic(durable=True):
        for booking in waiting:
            waited = at - (booking.ready_at or at)
            number = int(waited / every)
            notice = write_notice(
                key=f"pick_up:{booking.pk}:{number}",
                kind="pick_up",
                person=booking.member,
                at=at,
                facts={
                    "booking": booking.pk,
                    "slip": booking.slip,
                    "place": booking.pick_up_place,
                    "pick_up_by": booking.pick_up_by.isoformat() if booking.pick_up_by else "",
                    "days": waited.days,
                },
            )
            written += notice is not None and notice.written_at == at
    return written
