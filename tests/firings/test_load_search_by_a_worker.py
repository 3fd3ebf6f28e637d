"""A better load looked for by a real worker process, over the real broker."""

from dataclasses import replace

import pytest
from django.utils import timezone

from firings.actions.search_load import search_load
from firings.models import FiringPolicy, LoadSearch, Placement, SearchState
from firings.tasks import look_for_better_load
from tests import scene
from tests.waiting import until

pytestmark = pytest.mark.django_db(transaction=True)


def test_a_worker_looks_on_and_never_leaves_a_worse_load(celery_worker_process):
    now, crew, ines = timezone.now(), scene.crew(), scene.person("Ines")
    kiln = scene.kiln()
    sizes = [(90, 100), (140, 70), (200, 60), (120, 220), (70, 90)]
    for number in range(25):
        across, height = sizes[number % len(sizes)]
        piece = replace(scene.MUG, across_mm=across, height_mm=height, count=3)
        scene.booking(ines, at=now, pieces=[piece])
    policy = FiringPolicy.current()
    policy.search_seconds_at_most = 5
    policy.save()
    firing = scene.begin_loading(by=crew, at=now, firing=scene.planned(crew, kiln, at=now))
    search_load(by=crew, at=now, firing=firing, nudge=look_for_better_load.delay)
    first = LoadSearch.objects.get(firing=firing)
    assert first.state == SearchState.RUNNING
    until(lambda: LoadSearch.objects.get(firing=firing).state != SearchState.RUNNING, within_s=60)
    last = LoadSearch.objects.get(firing=firing)
    assert last.state in (SearchState.TIME_UP, SearchState.BEST, SearchState.ENDED)
    assert last.steps > 0
    assert last.score >= first.score
    assert last.area_mm2 <= last.bound_mm2
    firing.refresh_from_db()
    assert last.revision == firing.load_revision
    assert Placement.objects.filter(layer__firing=firing).exists()
