"""A pot is booked: what is written, and everything the trade refuses at booking."""

from dataclasses import replace
from datetime import timedelta

import pytest

from firings.actions.book import book_ware
from firings.actions.bookings import decline_booking, withdraw_booking
from firings.actions.plan_firing import announce_firing
from firings.actions.ware import edit_firing_policy
from firings.models import Booking, BookingState, Kiln, KilnState
from firings.refusals import WareRefusal
from studio.models import Notice, Person
from studio.refusals import Denied
from tests import scene
from tests.scene import MUG, NOON

pytestmark = pytest.mark.django_db


@pytest.fixture
def kiln() -> Kiln:
    return scene.kiln()


@pytest.fixture
def ines(kiln: Kiln) -> Person:
    return scene.person("Ines")


def refused(code: str, **booking: object) -> WareRefusal:
    """Book and be refused with `code`; nothing may be left behind."""
    with pytest.raises(WareRefusal) as caught:
        scene.booking(**booking)
    assert caught.value.code == code
    assert not Booking.objects.exists()
    assert not Notice.objects.exists()
    return caught.value


def test_a_booking_waits_in_the_queue_with_its_charged_area(ines):
    booking = scene.booking(ines, stage="glaze")
    assert booking.state == BookingState.WAITING
    assert booking.pieces.count() == 4
    # Glazed ware is charged with half of 6 mm all round: four discs of 96 mm, pi 48^2 each.
    assert booking.charged_area_mm2 == 4 * 7238
    assert Booking.objects.in_queue("glaze", "6").get() == booking


def test_bisque_may_touch_and_is_charged_its_bare_footprint(ines):
    # pi 45^2 = 6361.7 mm2 for each of four mugs
    assert scene.booking(ines).charged_area_mm2 == 4 * 6362


def test_the_member_is_told_of_the_booking_once(ines):
    booking = scene.booking(ines)
    notice = Notice.objects.get()
    assert (notice.kind, notice.person, notice.facts["slip"]) == ("booked", ines, booking.slip)


def test_a_quarter_shelf_is_charged_a_quarter_of_the_shelf(ines, kiln):
    booking = scene.booking(ines, shelf_fraction="quarter", shelf_height_mm=150)
    # a round shelf of 394 mm: pi 197^2 = 121,922 mm2, a quarter of it rounded half up
    assert booking.charged_area_mm2 == 30_481


def test_slips_differ(ines):
    slips = {scene.booking(ines).slip for _ in range(5)}
    assert len(slips) == 5


@pytest.mark.parametrize(
    ("booking", "code"),
    [
        ({"dry_on": (NOON - timedelta(days=1)).date()}, "dry_date_in_the_past"),
        ({"dry_on": (NOON + timedelta(days=400)).date()}, "dry_date_too_far"),
        ({"cone": "41"}, "unknown_cone"),
        ({"cone": "6"}, "cone_outside_range"),  # bisque mistaken for glaze: the costly slip
        ({"pieces": []}, "no_pieces"),
        ({"pieces": [replace(MUG, across_mm=-90)]}, "absurd_size"),
        ({"pieces": [replace(MUG, height_mm=0)]}, "absurd_size"),
        ({"pieces": [replace(MUG, across_mm=90_000)]}, "absurd_size"),
        ({"pieces": [replace(MUG, shape="star")]}, "unknown_shape"),
        ({"pieces": [replace(MUG, count=0)]}, "absurd_count"),
        (
            {"pieces": [replace(MUG, count=40), replace(MUG, name="Cup", count=40)]},
            "too_many_pieces",
        ),
        ({"pieces": [MUG], "shelf_fraction": "half"}, "pieces_and_shelf"),
        ({"shelf_fraction": "third", "shelf_height_mm": 90}, "unknown_fraction"),
        ({"shelf_fraction": "half"}, "absurd_size"),
    ],
)
def test_what_booking_refuses(ines, booking, code):
    refused(code, member=ines, **booking)


def test_an_over_tall_piece_is_refused_with_the_limit_it_breaks(ines):
    tall = replace(MUG, name="Floor vase", height_mm=700)
    refusal = refused("piece_fits_no_kiln", member=ines, pieces=[tall])
    assert refusal.facts["limits"] == ["height"]
    # chamber 570 less lowest post 13, shelf 16 and 13 of air above
    assert refusal.message == (
        "Floor vase is too big for Heron. It is 70.0\xa0cm high; "
        "this kiln takes ware up to 52.8\xa0cm high."
    )


def test_who_reads_inches_is_told_the_limit_in_inches(ines):
    ines.length_unit = "in"
    ines.save()
    wide = replace(MUG, name="Platter", across_mm=508)
    told = refused("piece_fits_no_kiln", member=ines, pieces=[wide]).message
    # 508 mm are 20 in of 25.4 mm (NIST SP 811, B.8).
    assert "It is 20.00\xa0in across" in told


def test_a_whole_shelf_that_leaves_no_place_for_cones_is_told_so(ines, kiln):
    """Under a lid at 570 mm a whole shelf of ware 500 mm high leaves no second shelf."""
    cosmo = scene.crew()
    firing = announce_firing(by=cosmo, at=NOON, firing=scene.planned(cosmo, kiln))
    told = refused(
        "firing_is_full", member=ines, firing=firing, shelf_fraction="full", shelf_height_mm=500
    ).message
    assert "witness cones, which need 7.5\xa0cm of height" in told


def test_more_than_all_shelves_of_any_kiln_is_no_one_slip(ines):
    """Four shelves of pi 197^2 hold 487,688 mm2; sixteen plates of pi 100^2 are 502,655 mm2."""
    plates = [replace(MUG, name="Plate", across_mm=200, height_mm=30, count=16)]
    assert refused("more_than_one_load", member=ines, pieces=plates).field == "pieces"
    assert scene.booking(ines, pieces=[replace(plates[0], count=15)])


def test_a_piece_too_wide_for_every_shelf_is_refused_as_too_wide(ines):
    wide = replace(MUG, name="Platter", across_mm=450)
    assert refused("piece_fits_no_kiln", member=ines, pieces=[wide]).facts["limits"] == ["across"]


def test_a_glaze_outside_the_cone_is_named(ines):
    earthenware = scene.glaze("Honey", low="06", high="04")
    refusal = refused("cone_outside_range", member=ines, stage="glaze", glazes=[earthenware])
    assert "Honey" in refusal.message
    assert refusal.field == "glazes"


def test_glaze_ware_must_name_its_glaze_and_bisque_carries_none(ines):
    refused("glaze_missing", member=ines, stage="glaze", glazes=[])
    refused("glaze_in_bisque", member=ines, glazes=[scene.glaze()])


def test_only_the_studios_cones_are_offered(ines):
    chief = Person.objects.get(name="Marta")
    edit_firing_policy(by=chief, at=NOON, fields={"bisque_cones": ["06"]})
    refused("cone_not_fired_here", member=ines, cone="04")


def test_no_kiln_that_reaches_the_cone(ines, kiln):
    kiln.cone_limit = "06"
    kiln.save()
    refused("no_kiln_for_cone", member=ines)


def test_only_crew_book_for_somebody_else(ines):
    other = scene.person("Otto")
    wanted = {"cone": "04", "clay": scene.clay(), "dry_on": NOON.date(), "pieces": [MUG]}
    with pytest.raises(Denied):
        book_ware(by=other, at=NOON, stage="bisque", member=ines, **wanted)
    booking = book_ware(by=scene.crew(), at=NOON, stage="bisque", member=ines, **wanted)
    assert (booking.member, booking.account) == (ines, ines.account)


def test_withdrawn_while_waiting_and_never_afterwards(ines):
    booking = withdraw_booking(by=ines, at=NOON, booking=scene.booking(ines))
    assert booking.state == BookingState.WITHDRAWN
    with pytest.raises(WareRefusal, match="withdrawn"):
        withdraw_booking(by=ines, at=NOON, booking=booking)


def test_nobody_withdraws_the_ware_of_another_household(ines):
    with pytest.raises(Denied):
        withdraw_booking(by=scene.person("Otto"), at=NOON, booking=scene.booking(ines))


def test_crew_decline_with_a_reason_that_the_member_is_told(ines):
    booking = scene.booking(ines)
    decline_booking(by=scene.crew(), at=NOON, booking=booking, reason="wet")
    booking.refresh_from_db()
    assert booking.state == BookingState.DECLINED
    assert Notice.objects.get(kind="declined").facts["reason"] == "Not dry"


def test_members_do_not_decline_and_other_needs_words(ines):
    booking = scene.booking(ines)
    with pytest.raises(Denied):
        decline_booking(by=ines, at=NOON, booking=booking, reason="wet")
    with pytest.raises(WareRefusal, match="why"):
        decline_booking(by=scene.crew(), at=NOON, booking=booking, reason="other")


class TestAnnouncedFiring:
    @pytest.fixture
    def firing(self, kiln):
        by = scene.crew()
        soon = NOON + timedelta(days=3)
        return announce_firing(by=by, at=NOON, firing=scene.planned(by, kiln, planned_for=soon))

    def test_takes_bookings_up_to_what_the_kiln_can_hold_and_no_more(self, ines, firing):
        """Of four shelves the lowest carries the witness cones: three can be booked whole."""
        full = {"shelf_fraction": "full", "shelf_height_mm": 90, "firing": firing}
        for _ in range(3):
            scene.booking(ines, **full)
        with pytest.raises(WareRefusal) as caught:
            scene.booking(ines, **full)
        assert caught.value.code == "firing_is_full"
        assert firing.bookings.count() == 3

    def test_height_counts_not_only_area(self, ines, firing):
        """Three shelves of 300 mm ware cannot stand in 570 mm, though their area is there."""
        tall = {"shelf_fraction": "full", "shelf_height_mm": 300, "firing": firing}
        scene.booking(ines, **tall)
        with pytest.raises(WareRefusal, match="no room"):
            scene.booking(ines, **tall)

    def test_ware_that_is_dry_too_late_is_refused(self, ines, firing):
        with pytest.raises(WareRefusal, match="dry by"):
            scene.booking(ines, firing=firing, dry_on=(NOON + timedelta(days=5)).date())

    def test_a_firing_whose_hour_has_passed_takes_ware_that_is_dry_today(self, ines, firing):
        late = firing.planned_for + timedelta(days=1)
        assert scene.booking(ines, firing=firing, at=late).firing == firing

    def test_a_kiln_taken_out_of_service_meanwhile_takes_none(self, ines, firing):
        Kiln.objects.update(state=KilnState.OUT_OF_SERVICE)
        with pytest.raises(WareRefusal, match="out of service"):
            scene.booking(ines, firing=firing)

    def test_another_cone_is_refused(self, ines, firing):
        with pytest.raises(WareRefusal, match="cone 04"):
            scene.booking(ines, firing=firing, cone="06")

    def test_a_planned_firing_takes_none(self, ines, kiln):
        with pytest.raises(WareRefusal, match="takes no more"):
            book_ware(
                by=ines,
                at=NOON,
                stage="bisque",
                cone="04",
                clay=scene.clay(),
                dry_on=NOON.date(),
                pieces=[MUG],
                firing=scene.planned(scene.crew("Cleo"), kiln),
            )
