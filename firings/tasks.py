"""What beat and pages ask of `firings`: thin, the action does it."""

from celery import shared_task
from django.utils import timezone

from firings.actions import forecast_queues as forecasting
from firings.actions.ask_to_look import ask_crew_to_look as ask_to_look
from firings.actions.remind_pick_ups import remind_pick_ups as remind
from firings.actions.search_load import carry_on_search
from firings.actions.watch import watch_silence
from firings.models import FiringPolicy


@shared_task
def remind_pick_ups() -> int:
    return remind(at=timezone.now())


@shared_task
def look_for_better_load(firing_pk: int) -> str:
    """Goes on until the load cannot be better, somebody changes it, or time is up."""
    seconds = FiringPolicy.current().search_seconds_at_most
    return carry_on_search(firing_pk=firing_pk, seconds_at_most=seconds, clock=timezone.now)


@shared_task
def forecast_queues() -> int:
    """Reckons only what changed since it was last reckoned."""
    return forecasting.forecast_queues(at=timezone.now())


@shared_task
def watch_silent_kilns() -> int:
    """Silence makes no reading: somebody has to look at the clock."""
    return watch_silence(at=timezone.now())


@shared_task
def ask_crew_to_look() -> int:
    return ask_to_look(at=timezone.now())
