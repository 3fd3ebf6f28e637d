"""The check before the start: every line ticked, what is overdue marked, its reason kept."""

import pytest

from firings.actions.start import start_check
from firings.models import CareKind, CareTask, FiringState
from studio.models import TrailEntry
from tests import scene
from tests.firings.pages.crew_scene import client_of


@pytest.fixture
def firing(way):
    return way.loading()


@pytest.fixture
def url(firing):
    return f"/firings/{firing.pk}/start/"


def codes(firing, **overdue):
    return [item.code for item in start_check(firing) if overdue or not item.is_overdue]


def test_a_firing_starts_when_all_is_ticked(way, crew_client, firing, url):
    answer = crew_client.post(url, {"ticked": codes(firing), "register_start_wh": "1234.567"})
    assert answer.status_code == 303
    firing.refresh_from_db()
    assert firing.state == FiringState.FIRING
    assert firing.started_by == way.crew
    # 1234.567 kWh on the meter, stored in Wh.
    assert firing.register_start_wh == 1_234_567


def test_an_unticked_line_is_named_and_the_ticks_are_kept(crew_client, firing, url):
    most = [code for code in codes(firing) if code != "dry"]
    answer = crew_client.post(url, {"ticked": most})
    page = answer.content.decode()
    assert answer.status_code == 409
    assert "Not ticked: Every piece was felt" in page
    assert page.count(" checked") == len(most)
    firing.refresh_from_db()
    assert firing.state == FiringState.LOADING


def test_nothing_ticked_is_told_in_words(crew_client, firing, url):
    answer = crew_client.post(url, {})
    assert answer.status_code == 422
    assert "tick it when it is so" in answer.content.decode()


def test_an_overdue_line_is_marked_and_needs_a_reason(way, crew_client, firing, url):
    CareTask.objects.create(kiln=way.kiln, kind=CareKind.VACUUM, due_since=way.now)
    page = crew_client.get(url).content.decode()
    assert '<strong class="overdue">Overdue.</strong>' in page
    ticked = {"ticked": codes(firing)}
    refused = crew_client.post(url, ticked)
    assert refused.status_code == 409
    assert "write why you start anyway" in refused.content.decode()
    reason = "The vacuum is at the repair shop."
    assert crew_client.post(url, {**ticked, "override_reason": reason}).status_code == 303
    entry = TrailEntry.objects.get(deed="overdue check overridden")
    assert (entry.by, entry.why) == (way.crew, reason)


def test_a_ticked_care_task_is_done_with_the_start(way, crew_client, firing, url):
    task = CareTask.objects.create(kiln=way.kiln, kind=CareKind.VACUUM, due_since=way.now)
    crew_client.post(url, {"ticked": codes(firing, overdue=True)})
    task.refresh_from_db()
    assert task.done_by == way.crew


def test_the_usual_cautions_stand_on_the_page(crew_client, url):
    page = crew_client.get(url).content.decode()
    for title in ("Hot kiln, hot ware", "Electricity", "Fumes", "Lifting"):
        assert f"Caution: {title}" in page


@pytest.mark.parametrize("typed", ["-5", "1e9", "many", "12,5,5"])
def test_a_meter_that_is_no_number_is_refused(crew_client, firing, url, typed):
    answer = crew_client.post(url, {"ticked": codes(firing), "register_start_wh": typed})
    assert answer.status_code == 422
    firing.refresh_from_db()
    assert firing.state == FiringState.LOADING


def test_only_crew_start(way, firing, url):
    for person in (way.member, scene.manager("Mika")):
        client = client_of(person)
        assert client.get(url).status_code == 403
        assert client.post(url, {"ticked": codes(firing)}).status_code == 403
