"""The letters that firings write: every kind, from the deed that causes it."""

from datetime import timedelta

import pytest
from django.conf import settings

from firings.actions.bookings import correct_piece, decline_booking
from firings.actions.end_firing import abort_firing
from firings.actions.open_and_unload import shelve_booking
from firings.actions.plan_firing import announce_firing, cancel_firing
from firings.actions.readings import add_firing_readings
from firings.actions.remind_pick_ups import remind_pick_ups
from firings.calculations.readings import Reading as Moment
from firings.notices import KINDS
from studio.channels.email.letter import Letter, write_letter
from studio.models import Notice, Person, Studio
from tests import scene
from tests.scene import NOON

pytestmark = pytest.mark.django_db


@pytest.fixture
def kiln():
    return scene.kiln()


@pytest.fixture
def cosmo(kiln) -> Person:
    return scene.crew()


@pytest.fixture
def ines(kiln) -> Person:
    return scene.person("Ines")


@pytest.fixture
def firing(cosmo, kiln, ines):
    """Ines' four mugs, in a kiln that was started."""
    scene.booking(ines)
    return scene.started(cosmo, scene.loading(cosmo, kiln))


def letter_of(kind: str) -> Letter:
    """The letter of the one kind of notice, in its words and with its link."""
    letter = write_letter(Notice.objects.filter(kind=kind).latest("pk"))
    for words in (letter.text, letter.html):
        assert f"{settings.PUBLIC_URL}/" in words
    assert "<" not in letter.text
    assert letter.subject
    return letter


def open_and_shelve(cosmo, firing, outcomes_of=lambda pieces: {}):
    """Cool, open, and put the one slip on the pick-up shelf."""
    firing, ended_at = scene.cooled(cosmo, firing)
    firing = scene.opened(cosmo, firing, at=ended_at)
    booking = firing.bookings.get()
    outcomes = outcomes_of(list(booking.pieces.all()))
    shelve_booking(by=cosmo, at=ended_at, booking=booking, place="Shelf B", outcomes=outcomes)
    return ended_at


def test_booked_in_the_queue(ines):
    booking = scene.booking(ines)
    letter = letter_of("booked")
    assert booking.slip in letter.subject
    assert "4 pieces" in letter.text
    assert f"/ware/{booking.slip}/" in letter.text


def test_booked_on_an_announced_firing(ines, cosmo, kiln):
    firing = announce_firing(by=cosmo, at=NOON, firing=scene.planned(cosmo, kiln))
    scene.booking(ines, firing=firing)
    assert "It has space in Heron on Mon 2 Mar 2026" in letter_of("booked").text


def test_booked_a_part_of_a_shelf(ines):
    scene.booking(ines, shelf_fraction="half", shelf_height_mm=100)
    assert "Half a shelf, bisque to cone 04" in letter_of("booked").text


@pytest.mark.parametrize(("unit", "before"), [("cm", "254.5 cm²"), ("in", "39.4 in²")])
def test_measured_in_the_units_of_its_reader(ines, cosmo, unit, before):
    # 4 discs of 90 mm: 254.5 cm2, or 39.4 square inches at 645.16 mm2 each
    ines.length_unit = unit
    ines.save()
    piece = scene.booking(ines).pieces.first()
    correct_piece(by=cosmo, at=NOON, piece=piece, shape="round", across_mm=120, height_mm=90)
    assert before in letter_of("measured").text.replace("\xa0", " ")


def test_declined_says_why_and_escapes_what_crew_typed(ines, cosmo):
    note = "Cold & damp <foot>"
    decline_booking(by=cosmo, at=NOON, booking=scene.booking(ines), reason="wet", note=note)
    letter = write_letter(Notice.objects.get(kind="declined"))
    assert "not dry" in letter.subject
    assert note in letter.text
    assert "Cold &amp; damp &lt;foot&gt;" in letter.html


def test_loaded(firing):
    letter = letter_of("loaded")
    assert firing.bookings.get().slip in letter.text
    assert "Please leave the kiln closed" in letter.text


def test_cancelled(ines, cosmo, kiln):
    scene.booking(ines)
    cancel_firing(by=cosmo, at=NOON, firing=scene.loading(cosmo, kiln), reason="A fuse is gone.")
    letter = letter_of("cancelled")
    assert "A fuse is gone." in letter.text
    assert "waits in the queue again" in letter.text


def test_aborted(firing, cosmo):
    abort_firing(by=cosmo, at=NOON + timedelta(hours=1), firing=firing, reason="A power cut.")
    assert "A power cut." in letter_of("aborted").text


@pytest.mark.parametrize(
    ("reading", "what", "limit"),
    [
        ({"room_c": 38.3}, "The room", "38.0"),
        ({"control_box_c": 71.0}, "The control box", "66.0"),
    ],
)
def test_an_alarm_says_what_was_measured_and_who_decides(firing, cosmo, reading, what, limit):
    at = NOON + timedelta(hours=1)
    moments = [Moment(at=at, temp_c=200.0, **reading)]
    add_firing_readings(by=cosmo, at=at, firing=firing, readings=moments, source="file")
    letter = letter_of("alarm")
    assert letter.subject.startswith("ALARM")
    text = letter.text.replace("\xa0", " ")
    assert f"Heron: {what} is too hot" in text
    assert f"{next(iter(reading.values())):.1f} °C was measured" in text
    assert f"limit is {limit} °C" in text
    assert "decide what to do" in text
    assert " safe" not in text


def test_cooled_tells_crew_what_was_measured_and_leaves_it_to_them(firing, cosmo):
    scene.cooled(cosmo, firing)
    letter = letter_of("cooled")
    text = letter.text.replace("\xa0", " ")
    assert "45 °C was measured in Heron" in text
    assert "opens at 52 °C or below" in text
    assert "Ware and shelves may be hotter than the reading" in text
    assert "You decide" in text
    assert " safe" not in text


def test_ready_says_how_many_where_and_by_when(firing, cosmo):
    ended_at = open_and_shelve(
        cosmo, firing, lambda pieces: {pieces[0].pk: ("cracked", "at the handle")}
    )
    letter = letter_of("ready")
    by = ended_at.date() + timedelta(days=Studio.current().pick_up_days)
    assert "4 pieces" in letter.subject
    assert "Where: Shelf B" in letter.text
    assert f"Please collect by: {by:%a} {by.day} {by:%b %Y}" in letter.text
    assert "Mug: cracked (at the handle)" in letter.text


def test_lost(firing, cosmo):
    open_and_shelve(cosmo, firing, lambda pieces: {piece.pk: ("broken", "") for piece in pieces})
    letter = letter_of("lost")
    assert letter.text.count("Mug: broken") == 4


def test_pick_up(firing, cosmo):
    ended_at = open_and_shelve(cosmo, firing)
    remind_pick_ups(at=ended_at + timedelta(days=8))
    letter = letter_of("pick_up")
    assert "for 8 days" in letter.text
    assert "Shelf B" in letter.text


def test_every_kind_has_its_letter_tested_here():
    tested = [name.removeprefix("test_") for name in globals() if name.startswith("test_")]
    for kind in KINDS:
        assert any(kind.name in name for name in tested), kind.name
