"""A kiln is opened, unloaded slip by slip and closed, or broken off, over HTTP."""

from decimal import Decimal

import pytest

from firings.models import (
    BookingState,
    FiringPolicy,
    FiringState,
    KilnState,
    Outcome,
    WitnessCone,
)
from studio.models import Notice
from tests import scene
from tests.firings.pages.crew_scene import client_of

pytestmark = pytest.mark.usefixtures("nobody_listens")
NO_CONES = {"rows-TOTAL_FORMS": "0", "rows-INITIAL_FORMS": "0"}
CONE_ON_LAYER_1 = {
    "rows-TOTAL_FORMS": "1",
    "rows-INITIAL_FORMS": "0",
    "rows-0-layer": "1",
    "rows-0-cone": "04",
}


@pytest.fixture
def places(way):
    policy = FiringPolicy.current()
    policy.pick_up_places = ["Shelf A", "Shelf B"]
    policy.save()


def test_a_cooled_kiln_is_opened_with_its_witness_cone(way, crew_client):
    firing = way.cooled()
    form = crew_client.get(f"/firings/{firing.pk}/open/").context["form"]
    # The load has a cone pack on its lowest layer: its rows wait for their bends. Guide, firing
    # and guard stand one cone apart on the chart (an encyclopaedia; suppliers).
    assert [row.initial for row in form.rows.forms] == [
        {"role": "guide", "layer": 1, "cone": "05"},
        {"role": "firing", "layer": 1, "cone": "04"},
        {"role": "guard", "layer": 1, "cone": "03"},
    ]
    sent = {"temp_c": "113", "temp_c_unit": "F", **CONE_ON_LAYER_1, "rows-0-bend": "0.75"}
    assert crew_client.post(f"/firings/{firing.pk}/open/", sent).status_code == 303
    firing.refresh_from_db()
    # (113 - 32) / 1.8 = 45: NIST SP 811, B.8
    assert (firing.state, firing.opened_at_c) == (FiringState.OPENED, 45.0)
    seen = WitnessCone.objects.get()
    assert (seen.layer, seen.cone, seen.bend) == (1, "04", Decimal("0.75"))


def test_a_cone_that_nobody_read_is_not_written(way, crew_client):
    firing = way.cooled()
    sent = {"temp_c": "45", "temp_c_unit": "C", **CONE_ON_LAYER_1, "rows-0-bend": ""}
    crew_client.post(f"/firings/{firing.pk}/open/", sent)
    assert not WitnessCone.objects.exists()


def test_above_the_limit_opening_needs_a_reason(way, crew_client):
    firing = way.cooling()
    url = f"/firings/{firing.pk}/open/"
    hot = {"temp_c": "90", "temp_c_unit": "C", **NO_CONES}
    refused = crew_client.post(url, hot)
    page = refused.content.decode()
    assert refused.status_code == 409
    assert "Ware can crack and hands can burn." in page
    assert "Caution: Hot kiln, hot ware" in page
    assert crew_client.post(url, {**hot, "reason": "A raku piece."}).status_code == 303
    firing.refresh_from_db()
    assert firing.opening_reason == "A raku piece."


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"temp_c": ""}, "This field is required"),
        ({"temp_c": "2000"}, "must be at most 1400"),
        ({"rows-0-bend": "1.5"}, "Write a number from 0 to 1"),
        ({"rows-0-bend": "-0.5"}, "Write a number from 0 to 1"),
        ({"rows-0-bend": "0.123"}, "Write a number from 0 to 1"),
        ({"rows-0-bend": "half"}, "Write a number from 0 to 1"),
        ({"rows-0-bend": "0.5", "rows-0-cone": ""}, "Which cone?"),
    ],
)
def test_what_cannot_have_been_seen_is_refused(way, crew_client, changed, message):
    firing = way.cooled()
    sent = {"temp_c": "45", "temp_c_unit": "C", **CONE_ON_LAYER_1, **changed}
    answer = crew_client.post(f"/firings/{firing.pk}/open/", sent)
    assert answer.status_code == 422
    assert message in answer.content.decode()
    firing.refresh_from_db()
    assert firing.state == FiringState.COOLED


def test_witness_cones_are_put_right_later(way, crew_client):
    firing = way.opened()
    for bend in ("0.2", "0.9"):
        sent = {**CONE_ON_LAYER_1, "rows-0-bend": bend}
        url = f"/firings/{firing.pk}/witness-cones/"
        assert crew_client.post(url, sent).status_code == 303
    assert WitnessCone.objects.get().bend == Decimal("0.9")


def test_a_slip_is_put_on_the_shelf_sound_unless_said_otherwise(way, crew_client, places):
    firing = way.opened()
    cracked = way.booking.pieces.first()
    url = f"/firings/{firing.pk}/unload/{way.booking.slip}/"
    form = crew_client.get(url).context["form"]
    sent = {bound.html_name: bound.value() or "" for bound in form}
    assert sent[f"outcome_{cracked.pk}"] == Outcome.SOUND
    sent |= {
        "place": "Shelf B",
        f"outcome_{cracked.pk}": "cracked",
        f"note_{cracked.pk}": "Across the foot.",
    }
    page = crew_client.post(url, sent, follow=True).content.decode()
    assert "waits at Shelf B. Ines is told." in page
    assert "Everything is unloaded. Next: close the firing." in page
    way.booking.refresh_from_db()
    assert (way.booking.state, way.booking.pick_up_place) == (BookingState.READY, "Shelf B")
    outcomes = list(way.booking.pieces.values_list("outcome", "outcome_note"))
    assert outcomes == [("cracked", "Across the foot."), *[("sound", "")] * 3]
    assert Notice.objects.get(kind="ready").person == way.member


def test_a_place_may_be_typed(way, crew_client, places):
    firing = way.opened()
    url = f"/firings/{firing.pk}/unload/{way.booking.slip}/"
    form = crew_client.get(url).context["form"]
    sent = {bound.html_name: bound.value() or "" for bound in form}
    assert crew_client.post(url, sent).status_code == 422
    sent |= {"place": "~"}
    refused = crew_client.post(url, sent)
    assert refused.status_code == 409
    told = refused.context["form"].errors["place"]
    assert told == ["Say where on the pick-up shelf the ware is."]
    assert crew_client.post(url, {**sent, "place_typed": "Window sill"}).status_code == 303
    way.booking.refresh_from_db()
    assert way.booking.pick_up_place == "Window sill"


def test_ware_that_is_all_broken_needs_no_place(way, crew_client, places):
    firing = way.opened()
    url = f"/firings/{firing.pk}/unload/{way.booking.slip}/"
    sent = {f"outcome_{piece.pk}": "broken" for piece in way.booking.pieces.all()}
    page = crew_client.post(url, sent, follow=True).content.decode()
    assert f"Slip {way.booking.slip} is lost. Ines is told." in page


def test_alike_pieces_are_told_apart_by_a_number(way, crew_client):
    firing = way.opened()
    page = crew_client.get(f"/firings/{firing.pk}/unload/{way.booking.slip}/")
    labels = [label for label, _, _ in page.context["form"].piece_rows()]
    assert labels == ["Mug 1", "Mug 2", "Mug 3", "Mug 4"]


def test_a_slip_of_another_firing_is_not_found(way, crew_client):
    firing = way.opened()
    other = scene.booking(way.member, at=way.now)
    assert crew_client.get(f"/firings/{firing.pk}/unload/{other.slip}/").status_code == 404


def test_a_firing_is_closed_with_its_energy_and_how_sure_it_is(way, crew_client):
    firing = scene.unloaded(way.crew, way.opened(), at=way.now)
    url = f"/firings/{firing.pk}/"
    shown = crew_client.get(f"{url}close/").content.decode()
    assert "The log suggests" in shown
    assert "none was read" in shown
    sent = {"result": "reached", "reached_cone": "04", "register_start_wh": "1000"}
    page = crew_client.post(
        f"{url}close/", {**sent, "register_end_wh": "1042.5"}, follow=True
    ).content.decode()
    firing.refresh_from_db()
    assert (firing.state, firing.energy_wh) == (FiringState.CLOSED, 42_500)
    assert "It used 42.5 kWh, from the meter&#x27;s register." in page
    assert "42.5\N{NO-BREAK SPACE}kWh" in page
    assert "give or take" in page
    assert "Reached its cone" in page


def test_a_firing_with_ware_in_it_is_not_closed(way, crew_client):
    firing = way.opened()
    answer = crew_client.post(f"/firings/{firing.pk}/close/", {"result": "reached"})
    assert answer.status_code == 409
    assert f"Not yet on the pick-up shelf: {way.booking.slip}." in answer.content.decode()


def test_a_meter_that_runs_backwards_closes_nothing(way, crew_client):
    firing = scene.unloaded(way.crew, way.opened(), at=way.now)
    sent = {"result": "reached", "register_start_wh": "1000", "register_end_wh": "999"}
    answer = crew_client.post(f"/firings/{firing.pk}/close/", sent)
    assert answer.status_code == 400
    assert "A meter only runs forward." in answer.content.decode()
    firing.refresh_from_db()
    assert firing.state == FiringState.OPENED


def test_the_kilns_fault_is_written_down(way, crew_client):
    firing = scene.unloaded(way.crew, way.opened(), at=way.now)
    sent = {"result": "under", "is_kiln_fault": "on", "register_end_wh": "1042"}
    sent["register_start_wh"] = "1000"
    page = crew_client.post(f"/firings/{firing.pk}/close/", sent, follow=True).content.decode()
    assert "the studio carries the cost" in page


def test_breaking_off_asks_why_and_takes_a_faulty_kiln_out_of_service(way, crew_client):
    firing = way.hot()
    url = f"/firings/{firing.pk}/abort/"
    assert "Writing this switches nothing off" in crew_client.get(url).content.decode()
    assert crew_client.post(url, {"reason": ""}).status_code == 422
    sent = {"reason": "The relay stuck.", "is_kiln_fault": "on"}
    assert crew_client.post(url, sent).status_code == 303
    firing.refresh_from_db()
    way.kiln.refresh_from_db()
    way.booking.refresh_from_db()
    assert firing.state == FiringState.ABORTED
    assert way.kiln.state == KilnState.OUT_OF_SERVICE
    assert way.booking.state == BookingState.WAITING


@pytest.mark.parametrize("deed", ["open", "witness-cones", "close", "abort"])
def test_only_crew_do_it(way, deed):
    firing = way.opened() if deed in ("witness-cones", "close") else way.cooled()
    for person in (way.member, scene.manager("Mika"), scene.treasurer()):
        client = client_of(person)
        assert client.get(f"/firings/{firing.pk}/{deed}/").status_code == 403
        assert client.post(f"/firings/{firing.pk}/{deed}/", NO_CONES).status_code == 403
