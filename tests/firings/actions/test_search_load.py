"""The search for a better load: anytime, stopped, overtaken, resumed after a killed worker."""

from dataclasses import replace
from datetime import timedelta

import pytest

from firings.actions import search_load as searching
from firings.actions.hold_load import lock_piece
from firings.actions.load import fill_load
from firings.actions.plan_firing import begin_loading
from firings.actions.search_load import carry_on_search, is_silent, search_load, stop_search
from firings.models import Firing, LoadSearch, Placement, SearchState
from firings.refusals import WareRefusal
from tests import scene
from tests.scene import NOON

pytestmark = pytest.mark.django_db


@pytest.fixture
def cosmo():
    return scene.crew()


@pytest.fixture
def firing(cosmo):
    """More ware than one load holds, so that there is something to look for."""
    kiln, ines = scene.kiln(), scene.person("Ines")
    sizes = [(90, 100), (140, 70), (200, 60), (120, 220), (70, 90)]
    for number in range(30):
        across, height = sizes[number % len(sizes)]
        piece = replace(scene.MUG, across_mm=across, height_mm=height, count=3)
        scene.booking(ines, pieces=[piece])
    return begin_loading(by=cosmo, at=NOON, firing=scene.planned(cosmo, kiln))


class Ticking:
    """A clock that goes on by a tenth of a second each time it is asked."""

    def __init__(self):
        self.now = NOON

    def __call__(self):
        self.now += timedelta(milliseconds=100)
        return self.now


def begin(cosmo, firing):
    asked = []
    search_load(by=cosmo, at=NOON, firing=firing, nudge=asked.append)
    return asked


def search_of(firing):
    return LoadSearch.objects.get(firing=firing)


def test_the_first_answer_stands_at_once(cosmo, firing, django_capture_on_commit_callbacks):
    with django_capture_on_commit_callbacks(execute=True):
        asked = begin(cosmo, firing)
    search = search_of(firing)
    assert asked == [firing.pk]
    assert (search.state, search.steps) == (SearchState.RUNNING, 0)
    assert 0 < search.area_mm2 <= search.bound_mm2
    assert Placement.objects.filter(layer__firing=firing).exists()


def test_it_ends_when_time_is_up_and_is_never_worse(cosmo, firing):
    begin(cosmo, firing)
    first = search_of(firing)
    state = carry_on_search(firing_pk=firing.pk, seconds_at_most=3, clock=Ticking())
    last = search_of(firing)
    assert state == last.state == SearchState.TIME_UP
    assert last.score >= first.score
    assert last.steps > first.steps
    assert last.area_mm2 <= last.bound_mm2 <= first.bound_mm2
    firing.refresh_from_db()
    assert last.revision == firing.load_revision


def test_a_change_by_a_person_ends_it_and_stays(cosmo, firing):
    begin(cosmo, firing)
    put = Placement.objects.filter(layer__firing=firing).first()
    lock_piece(by=cosmo, at=NOON, firing=firing, piece=put.piece, is_locked=True)
    before = list(Placement.objects.order_by("pk").values())
    state = carry_on_search(firing_pk=firing.pk, seconds_at_most=5, clock=Ticking())
    assert state == SearchState.OVERTAKEN
    assert list(Placement.objects.order_by("pk").values()) == before


def test_a_change_between_two_plans_is_never_overwritten(cosmo, firing, monkeypatch):
    """The person comes in after the search has looked, before it writes."""
    begin(cosmo, firing)
    take, written = searching._take, []

    def take_after_a_person(*words, **named):
        if not written:
            firing_now = Firing.objects.get(pk=firing.pk)
            put = Placement.objects.filter(layer__firing=firing).first()
            lock_piece(by=cosmo, at=NOON, firing=firing_now, piece=put.piece, is_locked=True)
            written.append(list(Placement.objects.order_by("pk").values()))
        return take(*words, **named)

    monkeypatch.setattr(searching, "_take", take_after_a_person)
    state = carry_on_search(firing_pk=firing.pk, seconds_at_most=5, clock=Ticking())
    assert state == SearchState.OVERTAKEN
    assert list(Placement.objects.order_by("pk").values()) == written[0]


def test_it_stops_when_told_to(cosmo, firing):
    begin(cosmo, firing)
    stop_search(by=cosmo, at=NOON, firing=firing)
    state = carry_on_search(firing_pk=firing.pk, seconds_at_most=5, clock=Ticking())
    assert state == SearchState.STOPPED


def test_what_does_not_run_is_not_stopped(cosmo, firing):
    fill_load(by=cosmo, at=NOON, firing=firing)
    with pytest.raises(WareRefusal) as refused:
        stop_search(by=cosmo, at=NOON, firing=firing)
    assert refused.value.code == "no_search"


def test_a_worker_that_comes_after_a_killed_one_goes_on_from_what_stands(cosmo, firing):
    begin(cosmo, firing)
    carry_on_search(firing_pk=firing.pk, seconds_at_most=2, clock=Ticking())
    found = search_of(firing)
    # the first worker died before it could say that time was up
    LoadSearch.objects.update(state=SearchState.RUNNING)
    carry_on_search(firing_pk=firing.pk, seconds_at_most=1, clock=Ticking())
    assert search_of(firing).score >= found.score


def test_a_search_that_is_not_heard_of_has_lost_its_worker(cosmo, firing):
    begin(cosmo, firing)
    search = search_of(firing)
    assert not is_silent(search, NOON + timedelta(seconds=59))
    assert is_silent(search, NOON + timedelta(seconds=61))


def test_the_same_seed_gives_the_same_load(cosmo, firing):
    fill_load(by=cosmo, at=NOON, firing=firing)
    values = ("piece_id", "x_mm", "y_mm", "turn_deg")
    first = list(Placement.objects.order_by("piece_id").values(*values))
    fill_load(by=cosmo, at=NOON, firing=firing)
    assert list(Placement.objects.order_by("piece_id").values(*values)) == first
