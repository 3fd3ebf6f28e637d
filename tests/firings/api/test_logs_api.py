"""A log file by API: looked at, taken in whole or not at all, by crew only."""

import json
from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone
from rest_framework.test import APIClient

from firings.actions.readings import moments_of
from firings.calculations.heat_work import cone_from_log
from firings.models import Reading
from studio.models import Person
from tests import scene

pytestmark = pytest.mark.django_db


@pytest.fixture
def firing():
    crew, start = scene.crew(), timezone.now().replace(microsecond=0) - timedelta(hours=3)
    kiln = scene.kiln()
    scene.booking(scene.person("Mia"), at=start)
    return scene.started(crew, scene.loading(crew, kiln, at=start), at=start)


@pytest.fixture
def crew(firing):
    client = APIClient()
    client.force_authenticate(firing.started_by)
    return client


def log_of(firing, *cells: str) -> SimpleUploadedFile:
    rows = [
        f"{firing.started_at + timedelta(minutes=number):%Y-%m-%dT%H:%M:%SZ};{cell}"
        for number, cell in enumerate(cells)
    ]
    return SimpleUploadedFile("kiln.csv", "\n".join(["time;temp C", *rows]).encode())


def post(client, firing, last="", **sent):
    return client.post(f"/api/v1/firings/{firing.pk}/log/{last}", sent, format="multipart")


def test_a_log_is_looked_at_taken_in_and_its_layout_remembered(crew, firing):
    seen = post(crew, firing, "preview/", log=log_of(firing, "20", "30"))
    assert (seen.data["titles"], seen.data["line_count"]) == (["time", "temp C"], 2)
    assert not seen.data["is_remembered"]
    assert not Reading.objects.exists()
    layout = json.dumps(seen.data["layout"])
    taken = post(crew, firing, log=log_of(firing, "20", "30"), layout=layout)
    assert (taken.status_code, taken.data["stored"], taken.data["firing"]) == (200, 2, firing.pk)
    again = post(crew, firing, log=log_of(firing, "20", "30"))
    assert (again.data["stored"], again.data["already_known"]) == (0, 2)
    assert post(crew, firing, "preview/", log=log_of(firing, "20")).data["is_remembered"]


def test_a_faulty_log_is_refused_with_each_line(crew, firing):
    answer = post(crew, firing, log=log_of(firing, "20", "hot", "30", "cold"))
    assert (answer.status_code, answer.data["code"]) == (422, "log_unreadable")
    assert [fault["line"] for fault in answer.data["facts"]["faults"]] == [3, 5]
    assert not Reading.objects.exists()


@pytest.mark.parametrize("layout", ["[]", "{}", '{"delimiter": ";"}', '{"columns": [3]}'])
def test_a_layout_that_is_none_is_refused(crew, firing, layout):
    answer = post(crew, firing, log=log_of(firing, "20"), layout=layout)
    assert (answer.status_code, answer.data["code"]) == (400, "invalid")


def test_what_is_no_log_is_refused(crew, firing):
    for last in ("", "preview/"):
        answer = post(crew, firing, last, log=SimpleUploadedFile("a.csv", b"PK\x03\x04"))
        assert (answer.status_code, answer.data["code"]) == (422, "log_unreadable")


def test_only_crew_send_logs(firing):
    member = APIClient()
    member.force_authenticate(Person.objects.get(name="Mia"))
    for last in ("", "preview/"):
        assert post(member, firing, last, log=log_of(firing, "20")).status_code == 403


def test_the_summary_of_a_log_is_told(crew, firing, django_assert_num_queries):
    cells = [str(20 + 7 * number) for number in range(170)]  # 420 C per hour to 1203 C
    assert post(crew, firing, log=log_of(firing, *cells)).data["stored"] == 170
    with django_assert_num_queries(1):  # the firing with its kiln, nothing of its log
        told = crew.get(f"/api/v1/firings/{firing.pk}/summary/").data
    assert (told["readings_count"], told["peak_c"]) == (170, 1203)
    # Source: arithmetic: 260 to 650 C at 420 C per hour.
    stages = {stage["name"]: stage for stage in told["stages"]}
    assert stages["burn_off"]["seconds"] == pytest.approx(390 / 420 * 3600)
    assert stages["burn_off"]["rate_c_per_h"] == pytest.approx(420)
    assert told["top_rate_c_per_h"] == pytest.approx(420)
    assert told["log_cone"]["thermocouple"] == "K standard"
    assert told["log_cone"]["cone"] == cone_from_log(moments_of(firing)).cone
    assert told["extremes"] == {"temp_c": [20, 1203]}


def test_a_firing_without_readings_has_an_empty_summary(crew, firing):
    told = crew.get(f"/api/v1/firings/{firing.pk}/summary/").data
    assert (told["readings_count"], told["peak_c"], told["stages"]) == (0, None, [])
    assert told["log_cone"]["cone"] is None
