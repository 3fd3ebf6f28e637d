"""Ask crew to go and look at a kiln that nobody hears of and that may be cool by now.

A forecast never says that a kiln is cool: it only sends somebody there.
"""

from __future__ import annotations

from datetime import datetime

from django.db import transaction

from firings.actions.cooling_habits import forecast_of
from firings.actions.tell_crew import tell_crew
from firings.calculations.readings import GAP_MAX
from firings.models import Firing


def ask_crew_to_look(*, at: datetime) -> int:
    """For each hot kiln without a reading of late, once its likely time has come; answer how many.

    The notice's key names the firing, so that running this as often as one likes asks once.
    """
    asked = 0
    with transaction.atomic(durable=True):
        for firing in Firing.objects.running().select_related("kiln").order_by("pk"):
            asked += _ask(firing, at)
    return asked


def is_unheard_of(firing: Firing, at: datetime) -> bool:
    """Whether no logger sends, or the one there is has gone silent."""
    return firing.log_last_at is None or at - firing.log_last_at > GAP_MAX


def _ask(firing: Firing, at: datetime) -> bool:
    if not is_unheard_of(firing, at):
        return False
    forecast = forecast_of(firing, at)
    # Times that have passed are given as `at`.
    if forecast is None or forecast.likely_at > at:
        return False
    facts = {
        "firing": firing.pk,
        "last_c": None if forecast.is_assumed else forecast.last_c,
        "limit_c": forecast.limit_c,
    }
    return tell_crew(key=f"look:{firing.pk}", kind="look", at=at, facts=facts) > 0
