"""Booking over HTTP, as a phone sends it: what is booked, and what is told at which field."""

from datetime import timedelta

import pytest
import time_machine
from django.test import Client

from firings.actions.plan_firing import announce_firing
from firings.actions.ware import edit_firing_policy, set_piece_size
from firings.models import Booking, BookingState, PieceSize
from studio.models import Notice, Person, Role
from tests import scene
from tests.scene import NOON

pytestmark = pytest.mark.django_db

GLAZE = "/book/?stage=glaze&cone=6"
BISQUE = "/book/?stage=bisque&cone=04"


@pytest.fixture(autouse=True)
def noon():
    with time_machine.travel(NOON, tick=False):
        yield


@pytest.fixture
def kiln():
    return scene.kiln()


@pytest.fixture
def ines(kiln, client: Client) -> Person:
    ines = scene.person("Ines")
    client.force_login(ines)
    return ines


@pytest.fixture
def mug(kiln) -> PieceSize:
    fields = {"name": "Mug", "shape": "round", "across_mm": 90, "height_mm": 100}
    return set_piece_size(by=_chief(), at=NOON, fields=fields)


def _chief() -> Person:
    return Person.objects.holding(Role.MANAGER).first()


def sent(**typed):
    """What a browser sends of the form; a typed size is given as row=(across, height)."""
    across, height = typed.pop("row", ("", ""))
    return {
        "clay": scene.clay().pk,
        "dry_on": NOON.date().isoformat(),
        "rows-TOTAL_FORMS": "1",
        "rows-INITIAL_FORMS": "0",
        "rows-0-name": "Tower" if across else "",
        "rows-0-shape": "round",
        "rows-0-across_mm": across,
        "rows-0-across_mm_unit": "cm",
        "rows-0-depth_mm": "",
        "rows-0-depth_mm_unit": "cm",
        "rows-0-height_mm": height,
        "rows-0-height_mm_unit": "cm",
        "rows-0-count": "1",
        **typed,
    }


def refused(client: Client, url: str, typed, status: int):
    """Send, be told, lose nothing that was typed and leave nothing behind."""
    answer = client.post(url, typed)
    assert answer.status_code == status
    assert not Booking.objects.exists()
    assert not Notice.objects.exists()
    return answer.context["form"]


class TestChoosingWhere:
    def test_each_cone_of_the_studio_is_one_tap(self, client, ines):
        lists = {"bisque_cones": ["04"], "glaze_cones": ["6", "10"]}
        edit_firing_policy(by=_chief(), at=NOON, fields=lists)
        page = client.get("/book/").content.decode()
        for link in ("stage=bisque&amp;cone=04", "stage=glaze&amp;cone=6", "cone=10"):
            assert link in page

    def test_without_lists_every_cone_can_be_chosen(self, client, ines):
        page = client.get("/book/")
        assert '<select class="cone-choice" name="cone"' in page.content.decode()

    def test_a_cone_nobody_knows_is_refused_with_a_reason(self, client, ines):
        answer = client.get("/book/?stage=glaze&cone=99")
        assert answer.status_code == 409
        assert "There is no cone" in answer.content.decode()

    def test_an_announced_firing_shows_how_full_it_is(self, client, ines, kiln):
        cosmo = scene.crew()
        firing = scene.planned(cosmo, kiln)
        announce_firing(by=cosmo, at=NOON, firing=firing)
        scene.booking(ines, firing=firing)
        # 4 discs of 90 mm on 4 shelves of 394 mm across: 4 * 45^2 / (4 * 197^2) = 5.2 %
        assert client.get("/book/").context["announced"][0].taken_percent == 5

    def test_crew_who_are_no_members_are_told_who_may(self, client, kiln):
        cosmo = scene.crew()
        cosmo.role_holdings.filter(role=Role.MEMBER).delete()
        client.force_login(cosmo)
        assert client.get("/book/").status_code == 403


class TestBooking:
    def test_three_mugs_from_the_palette(self, client, ines, mug):
        typed = sent(**{f"pieces-{mug.pk}": "3", "glazes": [scene.glaze().pk]})
        answer = client.post(GLAZE, typed, follow=True)
        booking = Booking.objects.get()
        assert (booking.member, booking.stage, booking.cone) == (ines, "glaze", "6")
        assert booking.pieces.count() == 3
        assert answer.redirect_chain == [(f"/ware/{booking.slip}/", 303)]
        assert booking.slip in answer.content.decode()

    def test_palette_and_typed_sizes_together(self, client, ines, mug):
        client.post(BISQUE, sent(row=("12.5", "20"), **{f"pieces-{mug.pk}": "1"}))
        pieces = Booking.objects.get().pieces.values_list("name", "across_mm", "height_mm")
        assert list(pieces) == [("Mug", 90, 100), ("Tower", 125, 200)]

    def test_a_quarter_of_a_shelf(self, client, ines):
        typed = sent(shelf_fraction="quarter", shelf_height_mm="15", shelf_height_mm_unit="cm")
        client.post(BISQUE, typed)
        booking = Booking.objects.get()
        assert (booking.shelf_fraction, booking.pieces.get().height_mm) == ("quarter", 150)

    def test_on_an_announced_firing(self, client, ines, mug, kiln):
        cosmo = scene.crew()
        firing = announce_firing(by=cosmo, at=NOON, firing=scene.planned(cosmo, kiln))
        client.post(f"/book/?firing={firing.pk}", sent(**{f"pieces-{mug.pk}": "2"}))
        assert Booking.objects.get().firing == firing

    def test_the_clay_of_the_last_booking_and_today_stand_ready(self, client, ines):
        scene.booking(ines)
        form = client.get(BISQUE).context["form"]
        assert form["clay"].value() == scene.clay().pk
        assert form["dry_on"].value() == NOON.date()

    def test_more_rows_without_scripts_keep_what_was_typed(self, client, ines):
        answer = client.post(BISQUE, sent(row=("12", "20"), more_rows="1"))
        form = answer.context["form"]
        assert len(form.rows.forms) == 4
        assert form.rows.forms[0]["name"].value() == "Tower"
        assert not Booking.objects.exists()


class TestRefusals:
    def test_an_over_tall_typed_piece_says_the_limit_at_its_row(self, client, ines):
        form = refused(client, BISQUE, sent(row=("12", "90")), 409)
        told = form.rows.forms[0].non_field_errors()[0]
        # 570 chamber - 13 post - 16 shelf - 13 above = 528
        assert "90.0\xa0cm high" in told
        assert "52.8\xa0cm" in told
        assert form.shows_rows

    def test_an_over_tall_piece_of_the_palette_is_told_at_the_palette(self, client, ines):
        fields = {"name": "Pillar", "shape": "round", "across_mm": 90, "height_mm": 600}
        pillar = set_piece_size(by=_chief(), at=NOON, fields=fields)
        form = refused(client, BISQUE, sent(**{f"pieces-{pillar.pk}": "1"}), 409)
        assert "Pillar is too big" in form.errors["pieces"][0]

    def test_an_over_tall_part_of_a_shelf_is_told_at_its_height(self, client, ines):
        typed = sent(shelf_fraction="half", shelf_height_mm="60", shelf_height_mm_unit="cm")
        form = refused(client, BISQUE, typed, 409)
        assert "52.8\xa0cm" in form.errors["shelf_height_mm"][0]
        assert form.shows_shelf

    def test_a_glaze_for_another_cone_is_named(self, client, ines, mug):
        majolica = scene.glaze("Majolica white", "06", "04")
        typed = sent(**{f"pieces-{mug.pk}": "1", "glazes": [majolica.pk]})
        form = refused(client, GLAZE, typed, 409)
        assert "Majolica white" in form.errors["glazes"][0]
        assert form["pieces"].value() == {mug.pk: "1"}

    def test_a_clay_for_another_cone_is_named(self, client, ines, mug):
        red = scene.clay("Red earthenware", cone_low="06", cone_high="02")
        typed = sent(clay=red.pk, **{f"pieces-{mug.pk}": "1", "glazes": [scene.glaze().pk]})
        form = refused(client, GLAZE, typed, 409)
        assert "Red earthenware" in form.errors["clay"][0]

    def test_a_dry_date_in_the_past(self, client, ines, mug):
        yesterday = (NOON - timedelta(days=1)).date().isoformat()
        form = refused(client, BISQUE, sent(dry_on=yesterday, **{f"pieces-{mug.pk}": "1"}), 409)
        assert "in the past" in form.errors["dry_on"][0]

    @pytest.mark.parametrize("typed", ["-3", "61", "two", "1e3", "9" * 40, "²"])
    def test_an_absurd_count(self, client, ines, mug, typed):
        form = refused(client, BISQUE, sent(**{f"pieces-{mug.pk}": typed}), 422)
        assert form.errors["pieces"] == ["Mug: write a whole number from 0 to 60."]
        assert form["pieces"].value() == {mug.pk: typed}

    def test_all_that_is_wrong_is_told_at_once(self, client, ines, mug):
        form = refused(client, GLAZE, sent(), 422)
        assert {"pieces", "glazes"} <= set(form.errors)

    @pytest.mark.parametrize(
        ("row", "field"),
        [(("-4", "10"), "across_mm"), (("4", "-10"), "height_mm"), (("4", "9999"), "height_mm")],
    )
    def test_a_negative_or_absurd_size(self, client, ines, row, field):
        form = refused(client, BISQUE, sent(row=row), 422)
        assert field in form.rows.forms[0].errors

    def test_a_rectangle_needs_its_depth(self, client, ines):
        form = refused(client, BISQUE, sent(row=("4", "9"), **{"rows-0-shape": "rectangle"}), 422)
        assert "depth_mm" in form.rows.forms[0].errors

    def test_nothing_brought_is_told_at_the_palette(self, client, ines, mug):
        form = refused(client, BISQUE, sent(), 422)
        assert "at least one piece" in form.errors["pieces"][0]

    def test_a_full_firing_keeps_the_input(self, client, ines, kiln):
        cosmo = scene.crew()
        firing = announce_firing(by=cosmo, at=NOON, firing=scene.planned(cosmo, kiln))
        fields = {"name": "Pillar", "shape": "round", "across_mm": 300, "height_mm": 500}
        pillar = set_piece_size(by=_chief(), at=NOON, fields=fields)
        url, typed = f"/book/?firing={firing.pk}", sent(**{f"pieces-{pillar.pk}": "1"})
        assert client.post(url, typed).status_code == 303
        answer = client.post(url, typed)
        assert answer.status_code == 409
        assert "no room left" in answer.context["form"].non_field_errors()[0]
        assert answer.context["form"]["pieces"].value() == {pillar.pk: "1"}
        assert Booking.objects.count() == 1

    def test_a_firing_that_is_not_announced_any_more(self, client, ines, kiln):
        firing = scene.loading(scene.crew(), kiln)
        answer = client.get(f"/book/?firing={firing.pk}")
        assert answer.status_code == 409
        assert "takes no more bookings" in answer.content.decode()

    @pytest.mark.parametrize("number", ["0", "-1", "x", "9" * 30])
    def test_a_firing_that_is_not_there(self, client, ines, number):
        assert client.get(f"/book/?firing={number}").status_code == 404


class TestWithdrawAndCollect:
    def test_withdraw(self, client, ines):
        booking = scene.booking(ines)
        client.post(f"/ware/{booking.slip}/withdraw/")
        booking.refresh_from_db()
        assert booking.state == BookingState.WITHDRAWN

    def test_collecting_what_is_not_ready_says_so(self, client, ines):
        booking = scene.booking(ines)
        answer = client.post(f"/ware/{booking.slip}/collect/")
        assert answer.status_code == 409
        assert "is not on the pick-up shelf" in answer.content.decode()

    def test_what_belongs_to_somebody_else_is_not_there(self, client, ines):
        other = scene.booking(scene.person("Olaf"))
        assert client.get(f"/ware/{other.slip}/").status_code == 404
        for deed in ("withdraw", "collect"):
            assert client.post(f"/ware/{other.slip}/{deed}/").status_code == 404
        assert client.get(f"/ware/{other.slip}/slip/").status_code == 404
        assert client.get(f"/s/{other.slip}/").status_code == 404
        other.refresh_from_db()
        assert other.state == BookingState.WAITING

    def test_a_household_sees_its_shared_ware(self, client, ines):
        booking = scene.booking(scene.person("Iver", account=ines.account))
        assert client.get(f"/ware/{booking.slip}/").status_code == 200


def test_a_studio_without_clays_says_who_opens_it_for_bookings(client):
    scene.kiln()
    client.force_login(scene.person("Ines"))
    assert "named no clay" in client.get("/book/").content.decode()
    scene.clay()
    assert "named no clay" not in client.get("/book/").content.decode()
