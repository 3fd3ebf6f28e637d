"""The crew's whole way over HTTP: from the queue to the pick-up shelf, on a clock of its own."""

from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone

from firings.actions.start import start_check
from firings.models import BookingState, CareKind, CareTask, Firing, FiringState, KilnState
from tests import scene

pytestmark = pytest.mark.usefixtures("nobody_listens")
NO_ROWS = {"rows-TOTAL_FORMS": "0", "rows-INITIAL_FORMS": "0"}


@pytest.fixture
def wait(way, monkeypatch):
    """Let so many hours go by, without waiting for them."""
    now = way.now

    def go_by(hours: float) -> None:
        nonlocal now
        now += timedelta(hours=hours)
        monkeypatch.setattr(timezone, "now", lambda: now)

    return go_by


def plan(client, way, **changed):
    when = timezone.now().strftime("%Y-%m-%dT%H:%M")
    usual = {"kiln": way.kiln.pk, "planned_for": when, "stage": "bisque", "cone": "04"}
    client.post("/firings/plan/", {**usual, **NO_ROWS, **changed})
    return Firing.objects.get()


def send_log(client, url, firing):
    lines = [
        f"{reading.at.isoformat()},{reading.temp_c}" for reading in scene.log(firing.started_at)
    ]
    content = "\n".join(["time,temp C", *lines]).encode()
    sent = client.post(f"{url}log/", {"log": SimpleUploadedFile("heron.csv", content)})
    form = client.get(sent["Location"]).context["form"]
    fields = {bound.html_name: bound.value() or "" for bound in form}
    fields.pop("allow_disorder")
    fields["started_at"] = ""
    assert client.post(sent["Location"], fields).status_code == 303


def test_from_the_queue_to_the_pick_up_shelf(way, crew_client, wait):
    queue = crew_client.get("/queue/").context["queues"][0]
    assert (queue.stage, queue.cone, queue.slips) == ("bisque", "04", 1)
    firing = plan(crew_client, way)
    url = f"/firings/{firing.pk}/"
    crew_client.post(f"{url}begin-loading/")
    crew_client.post(f"{url}load/fill/")
    ticked = [item.code for item in start_check(firing)]
    crew_client.post(f"{url}start/", {"ticked": ticked, "register_start_wh": "100"})
    firing.refresh_from_db()
    assert firing.state == FiringState.FIRING

    wait(hours=30)
    send_log(crew_client, url, firing)
    firing.refresh_from_db()
    assert firing.state == FiringState.COOLED
    crew_client.post(f"{url}open/", {"temp_c": "44", "temp_c_unit": "C", **NO_ROWS})
    pieces = {f"outcome_{piece.pk}": "sound" for piece in way.booking.pieces.all()}
    crew_client.post(f"{url}unload/{way.booking.slip}/", {"place": "Shelf A", **pieces})
    sent = {"result": "reached", "register_start_wh": "100", "register_end_wh": "131.4"}
    crew_client.post(f"{url}close/", sent)
    firing.refresh_from_db()
    assert (firing.state, firing.energy_wh) == (FiringState.CLOSED, 31_400)

    assert way.booking.slip in crew_client.get("/pick-up/").content.decode()
    crew_client.post(f"/pick-up/{way.booking.slip}/hand-out/")
    way.booking.refresh_from_db()
    assert way.booking.state == BookingState.COLLECTED


def test_an_empty_first_firing_puts_the_kiln_into_service(way, crew_client, wait):
    way.kiln.state = KilnState.FIRST_FIRING_DUE
    way.kiln.save()
    CareTask.objects.create(kiln=way.kiln, kind=CareKind.FIRST_FIRING, due_since=way.now)
    firing = plan(crew_client, way, is_empty_first_firing="on")
    url = f"/firings/{firing.pk}/"
    assert "Announce" not in crew_client.get(url).content.decode()
    crew_client.post(f"{url}begin-loading/")
    assert "no ware" in crew_client.get(url).content.decode()
    refused = crew_client.post(f"{url}load/fill/")
    assert "shelves and posts only" in refused.content.decode()
    ticked = [item.code for item in start_check(firing)]
    crew_client.post(f"{url}start/", {"ticked": ticked, "register_start_wh": "100"})
    firing.refresh_from_db()
    wait(hours=30)
    send_log(crew_client, url, firing)
    crew_client.post(f"{url}open/", {"temp_c": "44", "temp_c_unit": "C", **NO_ROWS})
    assert "Read the witness cone" in crew_client.get(url).content.decode()

    sent = {"result": "reached", "register_start_wh": "100", "register_end_wh": "125"}
    too_soon = crew_client.post(f"{url}close/", sent)
    assert "closed with what its witness cone 04 showed" in too_soon.content.decode()
    cone = {"rows-0-layer": "1", "rows-0-cone": "04", "rows-0-bend": "1"}
    rows = {"rows-TOTAL_FORMS": "1", "rows-INITIAL_FORMS": "0"}
    crew_client.post(f"{url}witness-cones/", {**rows, **cone})
    assert crew_client.post(f"{url}close/", sent).status_code == 303
    way.kiln.refresh_from_db()
    assert way.kiln.state == KilnState.IN_SERVICE
    assert not CareTask.objects.filter(done_at=None).exists()
