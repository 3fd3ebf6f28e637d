"""Three weeks of the demo, built twice: a short story holds every kind of record."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import pytest
from django.core.management import call_command
from django.test import override_settings

from billing.models import Posting, Share
from firings.models import Booking, Reading
from studio.models import Notice

# A spring afternoon; the span holds the end of a month and the night without an hour.
NOW = datetime(2026, 3, 14, 18, 30, tzinfo=UTC)
WEEKS = 3
MAILBOX = "studio.channels.email.mailbox.MailboxBackend"


@dataclass(frozen=True)
class Build:
    """What a build left: in order, so that two can be compared."""

    said: str
    sign_ins: str
    bookings: list[tuple[object, ...]]
    readings: list[tuple[object, ...]]
    shares: list[tuple[object, ...]]
    postings: list[tuple[object, ...]]
    notices: list[tuple[object, ...]]


def build(home: Path) -> Build:
    said = home / "said.txt"
    live = override_settings(HOME=home, EMAIL_BACKEND=MAILBOX)
    with said.open("w", encoding="utf-8") as out, live:
        call_command("load_demo", weeks=WEEKS, today=NOW.date(), stdout=out)
    return Build(
        said=said.read_text(encoding="utf-8"),
        sign_ins=(home / "demo-sign-ins.txt").read_text(encoding="utf-8"),
        bookings=_rows(Booking, "slip", "state", "charged_area_mm2", "member__name", "booked_at"),
        readings=_rows(Reading, "firing_id", "at", "temp_c", "power_w", "duty", "source"),
        shares=_rows(Share, "booking__slip", "area_mm2", "amount_minor"),
        postings=_rows(Posting, "entry__on", "account__code", "amount_minor"),
        notices=_rows(Notice, "kind", "address", "state", "sent_at"),
    )


def _rows(model: type, *fields: str) -> list[tuple[object, ...]]:
    return list(model.objects.order_by("pk").values_list(*fields))


def empty_database() -> None:
    """As new, numbers included: slips are made from them."""
    call_command("flush", interactive=False, verbosity=0)


@pytest.fixture(scope="module")
def builds(
    django_db_setup: None, django_db_blocker: object, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[tuple[Build, Build]]:
    """Two builds; the second stays in the database while this module's tests look at it."""
    with django_db_blocker.unblock():
        empty_database()
        first = build(tmp_path_factory.mktemp("first"))
        empty_database()
        second = build(tmp_path_factory.mktemp("second"))
        yield first, second
        empty_database()
