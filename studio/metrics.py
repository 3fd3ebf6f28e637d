"""Numbers for scraping. They are counted in the database when asked for, so every web process
gives the same answer and none has to be kept in memory.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import datetime

from django.db.models import Count, Min
from prometheus_client import CollectorRegistry, generate_latest
from prometheus_client.core import GaugeMetricFamily, Metric
from prometheus_client.registry import Collector

from studio.models import Notice, Person
from studio.models.notices import NoticeState

Source = Callable[[datetime], Iterator[Metric]]
_SOURCES: list[Source] = []


def source_of_numbers(source: Source) -> Source:
    """Add a function that yields metrics; `firings` and `billing` add theirs the same way."""
    _SOURCES.append(source)
    return source


class _Scrape(Collector):
    def __init__(self, at: datetime) -> None:
        self.at = at

    def collect(self) -> Iterator[Metric]:
        for source in _SOURCES:
            yield from source(self.at)


def numbers(at: datetime) -> bytes:
    """Everything in the Prometheus text format."""
    # Registering would already collect once, only to learn the names.
    registry = CollectorRegistry(auto_describe=False)
    registry.register(_Scrape(at))
    return generate_latest(registry)


@source_of_numbers
def _notices(at: datetime) -> Iterator[Metric]:
    by_state = GaugeMetricFamily(
        "wareboard_notices", "Notices in the outbox by state.", labels=["state"]
    )
    counted = dict(
        Notice.objects.order_by()
        .values_list("state")
        .annotate(count=Count("pk"))
        .values_list("state", "count")
    )
    for state in NoticeState.values:
        by_state.add_metric([state], counted.get(state, 0))
    yield by_state
    oldest = Notice.objects.due(at).aggregate(oldest=Min("due_at"))["oldest"]
    age_s = (at - oldest).total_seconds() if oldest else 0
    yield GaugeMetricFamily(
        "wareboard_notice_due_seconds", "Age of the longest due notice.", value=age_s
    )


@source_of_numbers
def _people(_at: datetime) -> Iterator[Metric]:
    yield GaugeMetricFamily(
        "wareboard_people", "People who may sign in.", value=Person.objects.active().count()
    )
