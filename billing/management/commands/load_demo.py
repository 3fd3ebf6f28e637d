from argparse import ArgumentTypeError
from datetime import UTC, date, datetime, time
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from billing.demo.build import WEEKS, build_demo
from billing.demo.people import sign_ins
from billing.demo.scene import ZONE
from studio.environment import DEMO_SIGN_INS
from studio.refusals import Refusal


class Command(BaseCommand):
    help = "Fills an empty database with an invented studio and half a year of its life."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--today", type=_day, help="the day it ends on, such as 2026-05-31")
        parser.add_argument("--weeks", type=int, default=WEEKS, help="how far back it begins")

    def handle(self, *args: Any, **options: Any) -> None:
        if settings.ENVIRONMENT["EMAIL_URL"]:
            raise CommandError(
                "EMAIL_URL is set, and the demo would write to people who do not exist. Repeat"
                " this without EMAIL_URL: the letters then stay in the studio's own mailbox."
            )
        now = _end_of_story(options["today"])
        try:
            build_demo(now=now, weeks=options["weeks"], say=self._say)
        except Refusal as refusal:
            raise CommandError(refusal.message) from refusal
        (settings.HOME / DEMO_SIGN_INS).write_text(sign_ins(), encoding="utf-8")
        self.stdout.write(f"The demo stands; {DEMO_SIGN_INS} says who can sign in.")

    def _say(self, line: str) -> None:
        self.stdout.write(line)
        self.stdout.flush()


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise ArgumentTypeError(f"{text!r} is not a day such as 2026-05-31") from None


def _end_of_story(day: date | None) -> datetime:
    """Now; or three in the afternoon of an earlier day."""
    now = timezone.now()
    if day is None or day == now.astimezone(ZONE).date():
        return now
    if day > now.astimezone(ZONE).date():
        raise CommandError(f"{day} is still to come: the demo ends today or earlier.")
    return datetime.combine(day, time(15), tzinfo=ZONE).astimezone(UTC)
