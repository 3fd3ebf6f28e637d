"""Managers say which topic speaks of which kiln; by action, by page and by API."""

import pytest
from django.test import Client
from rest_framework.test import APIClient

from firings.actions.kiln_topics import drop_kiln_topic, set_kiln_topic
from firings.models import KilnTopic
from firings.refusals import WareRefusal
from studio.actions.trail import trail_of
from studio.refusals import Denied
from tests import scene
from tests.scene import NOON

pytestmark = pytest.mark.django_db

FIELDS = [("temp_c", "temp", "C")]


@pytest.fixture
def mara():
    return scene.manager()


@pytest.fixture
def kiln():
    return scene.kiln()


def set_topic(mara, kiln, topic="studio/kiln-1", fields=FIELDS, **more):
    return set_kiln_topic(by=mara, at=NOON, kiln=kiln, topic=topic, fields=fields, **more)


def test_a_topic_is_set_changed_and_dropped(mara, kiln):
    topic = set_topic(mara, kiln)
    assert topic.mapping.fields[0].path == "temp"
    changed = set_topic(mara, kiln, fields=[("temp_c", "t", "F")])
    assert (changed.pk, changed.fields) == (topic.pk, [["temp_c", "t", "F"]])
    drop_kiln_topic(by=mara, at=NOON, kiln_topic=changed)
    assert not KilnTopic.objects.exists()
    assert [entry.deed for entry in trail_of(kiln)][-3:] == [
        "topic added", "topic changed", "topic dropped",
    ]  # fmt: skip


@pytest.mark.parametrize("topic", ["", "studio/+/temp", "studio/#", "$SYS/uptime"])
def test_a_topic_that_may_speak_of_many_kilns_is_refused(mara, kiln, topic):
    with pytest.raises(WareRefusal, match="Write the whole topic"):
        set_topic(mara, kiln, topic)


def test_a_topic_speaks_of_one_kiln_and_its_mapping_must_be_possible(mara, kiln):
    set_topic(mara, kiln)
    with pytest.raises(WareRefusal, match="speaks of"):
        set_topic(mara, scene.kiln(name="Robin"))
    with pytest.raises(WareRefusal, match="is no path"):
        set_topic(mara, kiln, "studio/other", [("temp_c", "a..b", "C")])
    with pytest.raises(Denied):
        set_topic(scene.crew(), kiln)


def test_by_page(mara, kiln):
    client = Client()
    client.force_login(mara)
    url = f"/kilns/{kiln.pk}/topics/"
    assert "The server has no broker to listen to" in client.get(url).content.decode()
    rows = {"rows-TOTAL_FORMS": 1, "rows-INITIAL_FORMS": 0}
    sent = {
        "topic": "studio/kiln-1",
        "time_unit": "iso",
        "rows-0-value": "temp_c:F",
        "rows-0-path": "t",
        **rows,
    }
    done = client.post(url, sent, follow=True).content.decode()
    assert "are taken from studio/kiln-1" in done
    assert "Temperature, °F at t" in done
    topic = KilnTopic.objects.get()
    client.post(f"/kilns/topics/{topic.pk}/drop/")
    assert not KilnTopic.objects.exists()


def test_by_api(mara, kiln):
    client = APIClient()
    client.force_authenticate(mara)
    path = f"/api/v1/kilns/{kiln.pk}/topics/"
    values = [{"field": "temp_c", "path": "t", "unit": "C"}]
    made = client.post(path, {"topic": "studio/kiln-1", "values": values}, format="json")
    assert (made.status_code, made.data["values"]) == (201, values)
    assert client.delete(f"{path}{made.data['id']}/").status_code == 204
    crew = APIClient()
    crew.force_authenticate(scene.crew())
    assert crew.get(path).status_code == 403
