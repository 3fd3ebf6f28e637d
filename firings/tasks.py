"""What beat asks of `firings`: thin, the action does it."""

from celery import shared_task
from django.utils import timezone

from firings.actions.ask_to_look import ask_crew_to_look as ask_to_look
from firings.actions.remind_pick_ups import remind_pick_ups as remind
from firings.actions.watch import watch_silence


@shared_task
def remind_pick_ups() -> int:
    return remind(at=timezone.now())


@shared_task
def watch_silent_kilns() -> int:
    """Silence makes no reading: somebody has to look at the clock."""
    return watch_silence(at=timezone.now())


@shared_task
def ask_crew_to_look() -> int:
    return ask_to_look(at=timezone.now())
