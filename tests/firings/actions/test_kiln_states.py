"""A kiln's state changes with when, who and why, and never past the rule of the first firing."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest

from firings.actions.end_firing import abort_firing, close_firing
from firings.actions.kilns import (
    ShelvesWanted,
    add_kiln,
    add_part,
    edit_kiln,
    replace_part,
    return_to_service,
    set_shelves,
    take_out_of_service,
)
from firings.actions.open_and_unload import ConeSeen, record_witness_cones
from firings.actions.plan_firing import begin_loading
from firings.actions.start import start_check, start_firing
from firings.models import CareKind, Kiln, KilnState
from firings.refusals import WareRefusal
from studio.actions.edit_studio import edit_studio
from studio.actions.trail import trail_of
from tests import scene
from tests.scene import NOON

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("nobody_listens")]
LATER = NOON + timedelta(days=3)


@pytest.fixture
def cosmo():
    return scene.crew()


@pytest.fixture
def marta():
    return scene.manager()


@pytest.fixture
def new_kiln(marta):
    return add_kiln(by=marta, at=NOON, shelves=scene.ROUND_SHELVES, fields=scene.FIRST_KILN)


def elements_of(kiln, by, at=NOON, fitted_on=None):
    return add_part(
        by=by, at=at, kiln=kiln, kind="element", name="Elements", replacement_cost_minor=30_000,
        life_unit="weighted_hours", expected_life=Decimal(1000), fitted_on=fitted_on or at.date(),
    )  # fmt: skip


def first_firing_opened(cosmo, kiln):
    first = scene.planned(cosmo, kiln, is_empty_first_firing=True)
    firing = scene.started(cosmo, begin_loading(by=cosmo, at=NOON, firing=first))
    firing, ended_at = scene.cooled(cosmo, firing)
    return scene.opened(cosmo, firing, at=ended_at)


def close(cosmo, firing):
    seen = [ConeSeen(layer=1, cone="04", bend=Decimal("0.95"))]
    record_witness_cones(by=cosmo, at=LATER, firing=firing, cones=seen)
    return close_firing(
        by=cosmo, at=LATER, firing=firing, result="reached", register_end_wh=1_020_000
    )


def last_deed(kiln):
    entry = trail_of(kiln).order_by("-pk").first()
    return entry.deed, entry.from_state, entry.to_state, entry.by


class TestTrail:
    def test_the_first_firing_puts_the_kiln_into_service(self, cosmo, new_kiln):
        close(cosmo, first_firing_opened(cosmo, new_kiln))
        assert last_deed(new_kiln) == (
            "first firing passed", "first_firing_due", "in_service", cosmo,
        )  # fmt: skip

    def test_a_fault_takes_it_out(self, cosmo):
        kiln = scene.kiln()
        scene.booking(scene.person("Ines"))
        firing = scene.started(cosmo, scene.loading(cosmo, kiln))
        abort_firing(by=cosmo, at=NOON, firing=firing, reason="a relay stuck", is_kiln_fault=True)
        assert last_deed(kiln) == ("out of service", "in_service", "out_of_service", cosmo)
        assert "a relay stuck" in trail_of(kiln).order_by("-pk").first().why

    def test_new_elements_make_a_first_firing_due(self, marta):
        kiln = scene.kiln()
        replace_part(by=marta, at=NOON, part=elements_of(kiln, marta))
        assert last_deed(kiln) == ("new elements", "in_service", "first_firing_due", marta)


class TestFirstFiring:
    def test_new_elements_do_not_put_a_kiln_back_into_service(self, marta):
        """Out for repair, elements are replaced: it stays out until a manager returns it."""
        kiln = scene.kiln()
        part = elements_of(kiln, marta)
        take_out_of_service(by=marta, at=NOON, kiln=kiln, reason="an element broke")
        replace_part(by=marta, at=NOON, part=part)
        kiln.refresh_from_db()
        assert kiln.state == KilnState.OUT_OF_SERVICE
        assert kiln.care_tasks.filter(kind=CareKind.FIRST_FIRING, done_at=None).count() == 1

    def test_closing_does_not_return_a_kiln_that_was_taken_out_meanwhile(self, cosmo, new_kiln):
        opened = first_firing_opened(cosmo, new_kiln)
        take_out_of_service(by=cosmo, at=LATER, kiln=new_kiln, reason="the floor is cracked")
        close(cosmo, opened)
        new_kiln.refresh_from_db()
        assert new_kiln.state == KilnState.OUT_OF_SERVICE

    def test_a_firing_before_the_new_elements_does_not_count(self, cosmo, marta, new_kiln):
        part = elements_of(new_kiln, marta)
        opened = first_firing_opened(cosmo, new_kiln)
        replace_part(by=marta, at=LATER, part=part, reason="one was loose")
        close(cosmo, opened)
        new_kiln.refresh_from_db()
        assert new_kiln.state == KilnState.FIRST_FIRING_DUE
        assert new_kiln.care_tasks.filter(kind=CareKind.FIRST_FIRING, done_at=None).exists()

    def test_a_tick_does_not_do_it(self, cosmo, new_kiln):
        """The task is not on the list of the start; sending its code all the same does nothing."""
        task = new_kiln.care_tasks.get(kind=CareKind.FIRST_FIRING)
        first = scene.planned(cosmo, new_kiln, is_empty_first_firing=True)
        firing = begin_loading(by=cosmo, at=NOON, firing=first)
        ticked = [item.code for item in start_check(firing)]
        start_firing(
            by=cosmo, at=NOON, firing=firing, ticked=[*ticked, f"care:{task.pk}", "care:²"]
        )
        task.refresh_from_db()
        assert task.done_at is None

    def test_only_a_kiln_out_of_service_is_returned(self, marta, new_kiln):
        with pytest.raises(WareRefusal) as caught:
            return_to_service(
                by=marta, at=NOON, kiln=new_kiln, needs_first_firing=False, reason="in a hurry"
            )
        assert caught.value.code == "not_out_of_service"

    def test_returned_without_one_nothing_stays_due(self, marta, new_kiln):
        take_out_of_service(by=marta, at=NOON, kiln=new_kiln, reason="no power")
        return_to_service(
            by=marta, at=NOON, kiln=new_kiln, needs_first_firing=False, reason="fired by its maker"
        )
        assert not new_kiln.care_tasks.filter(done_at=None).exists()


class TestSizes:
    """What no load can be planned in is refused when it is typed, not at the next booking."""

    @pytest.mark.parametrize(
        "fields",
        [
            {"chamber_across_mm": 2500},
            {"chamber_height_mm": 2500},
            {"chamber_shape": "rectangle", "chamber_depth_mm": 2500},
            {"posts_stacked_at_most": 5},
            {"keep_from_wall_mm": 1000},
        ],
    )
    def test_of_kilns(self, marta, fields):
        kiln = scene.kiln()
        with pytest.raises(WareRefusal):
            edit_kiln(by=marta, at=NOON, kiln=kiln, fields=fields)
        assert scene.booking(scene.person("Ines")).charged_area_mm2

    @pytest.mark.parametrize(
        "shelves",
        [
            ShelvesWanted("round", 394, 16, count=51),
            ShelvesWanted("round", 394, 16, count=0),
            ShelvesWanted("round", 900, 16, count=4),
        ],
    )
    def test_of_shelves(self, marta, shelves):
        kiln = scene.kiln()
        with pytest.raises(WareRefusal):
            set_shelves(by=marta, at=NOON, kiln=kiln, shelves=shelves)
        assert kiln.shelf_sets.get().count == 4

    def test_the_largest_kiln_that_may_be_takes_bookings(self, marta):
        fields = {
            **scene.FIRST_KILN, "name": "Great", "chamber_across_mm": 2000,
            "chamber_height_mm": 2000, "posts_stacked_at_most": 4,
        }  # fmt: skip
        great = add_kiln(
            by=marta, at=NOON, fields=fields, shelves=ShelvesWanted("round", 1900, 60, count=50)
        )
        Kiln.objects.filter(pk=great.pk).update(state=KilnState.IN_SERVICE)
        assert scene.booking(scene.person("Ines")).charged_area_mm2


class TestDays:
    def test_a_part_is_fitted_on_the_studios_day(self, marta):
        """Auckland is 13 hours ahead of UTC in its summer (tz database)."""
        edit_studio(by=marta, at=NOON, time_zone="Pacific/Auckland")
        morning = datetime(2026, 3, 2, 20, tzinfo=UTC)  # Tuesday 3 March, 09:00 in Auckland
        kiln = scene.kiln()
        today = morning.date() + timedelta(days=1)
        part = elements_of(kiln, marta, at=morning, fitted_on=today)
        fitted = replace_part(by=marta, at=morning, part=part)
        part.refresh_from_db()
        assert (fitted.fitted_on, part.retired_on) == (today, today)
