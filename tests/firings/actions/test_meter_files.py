"""A utility's meter of one kiln tells what its firings used."""

from datetime import UTC, datetime, timedelta

import pytest

from firings.actions.end_firing import close_firing
from firings.actions.meter_files import intervals_of, take_in_meter_file
from firings.models import Firing, FiringState, MeterFile, MeterInterval
from firings.refusals import WareRefusal
from studio.actions.trail import trail_of
from studio.refusals import Denied
from tests import scene
from tests.firings.meter_data import MIDNIGHT, block, feed, meter, quarters, reading
from tests.scene import NOON

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("nobody_listens")]


@pytest.fixture
def cosmo():
    return scene.crew()


@pytest.fixture
def kiln():
    return scene.kiln()


def take_in(cosmo, kiln, content, **wanted):
    asked = {"file_name": "march.xml", "measures_this_kiln_alone": True, **wanted}
    return take_in_meter_file(by=cosmo, at=NOON, kiln=kiln, content=content, **asked)


def of_values(*values: int, start: int = MIDNIGHT) -> bytes:
    return feed(meter(1, block(quarters(*values, start=start), start)))


def test_a_file_is_taken_in_with_its_intervals(cosmo, kiln):
    taken = take_in(cosmo, kiln, of_values(100, 200, 300))
    assert (taken.file.intervals_count, taken.file.energy_wh, taken.replaced) == (3, 600, 0)
    start_at = datetime.fromtimestamp(MIDNIGHT, UTC)
    within = intervals_of(kiln, start_at, start_at + timedelta(minutes=20))
    assert [int(interval.energy_wh) for interval in within] == [100, 200]
    assert trail_of(kiln).last().deed == "meter data taken in"


def test_what_a_later_file_says_of_the_same_time_replaces_it(cosmo, kiln):
    take_in(cosmo, kiln, of_values(100, 200, 300))
    taken = take_in(cosmo, kiln, of_values(210, 310, start=MIDNIGHT + 900))
    assert taken.replaced == 2
    assert [int(i.energy_wh) for i in MeterInterval.objects.all()] == [100, 210, 310]


def test_gaps_and_estimates_of_the_utility_are_remarked(cosmo, kiln):
    rows = reading(100, MIDNIGHT, quality=8) + reading(100, MIDNIGHT + 3600)
    taken = take_in(cosmo, kiln, feed(meter(1, block(rows))))
    told = " ".join(taken.file.remarks)
    assert "1 of 2 intervals is estimated from history." in told
    assert "Nothing from 2026-03-02" in told


@pytest.mark.parametrize(
    ("content", "wanted", "code"),
    [
        (of_values(1), {"measures_this_kiln_alone": False}, "meter_not_alone"),
        (b"time,kWh\n", {}, "meter_file_unreadable"),
        (of_values(1), {"meter": "Roof"}, "which_meter"),
        (
            feed(meter(1, block(quarters(1))), meter(2, block(quarters(2)), title="Other")),
            {},
            "which_meter",
        ),
    ],
)
def test_what_cannot_be_taken_in_is_refused_and_nothing_is_stored(
    cosmo, kiln, content, wanted, code
):
    with pytest.raises(WareRefusal) as caught:
        take_in(cosmo, kiln, content, **wanted)
    assert caught.value.code == code
    assert not MeterFile.objects.exists()


def test_the_same_file_twice_and_a_strangers_are_refused(cosmo, kiln):
    take_in(cosmo, kiln, of_values(1))
    with pytest.raises(WareRefusal, match=r"was taken in for .* already"):
        take_in(cosmo, kiln, of_values(1), file_name="again.xml")
    with pytest.raises(Denied):
        take_in(scene.person("Otto"), kiln, of_values(2))


def opened_firing(cosmo, kiln) -> Firing:
    scene.booking(scene.person("Ines"))
    firing = scene.started(cosmo, scene.loading(cosmo, kiln))
    firing, ended_at = scene.cooled(cosmo, firing)
    firing = scene.opened(cosmo, firing, at=ended_at)
    firing.bookings.update(state="ready", pick_up_place="Shelf A")
    return firing


def whole_span(firing: Firing, value: int) -> bytes:
    start = int(firing.started_at.timestamp()) // 900 * 900
    count = int((firing.opened_at - firing.started_at).total_seconds()) // 900 + 2
    return feed(meter(1, block(quarters(*[value] * count, start=start), start)))


def test_a_firing_without_registers_is_closed_with_what_the_meter_says(cosmo, kiln):
    firing = opened_firing(cosmo, kiln)
    take_in(cosmo, kiln, whole_span(firing, 500))
    closed = close_firing(by=cosmo, at=firing.opened_at, firing=firing, result="reached")
    hours = (firing.opened_at - firing.started_at).total_seconds() / 3600
    assert closed.energy_source == "interval_meter"
    assert closed.energy_wh == pytest.approx(2000 * hours, rel=0.001)


def test_registers_come_first_and_a_disagreement_is_kept(cosmo, kiln):
    firing = opened_firing(cosmo, kiln)
    take_in(cosmo, kiln, whole_span(firing, 500))
    closed = close_firing(
        by=cosmo,
        at=firing.opened_at,
        firing=firing,
        result="reached",
        register_start_wh=1_000_000,
        register_end_wh=1_005_000,
    )
    assert (closed.energy_source, closed.energy_wh) == ("meter_register", 5000)
    how = closed.energy_working["how"]
    assert how["others"][0][0] == "interval_meter"
    assert how["disagreements"][0][:3] == ["meter_register", 5000, "interval_meter"]


def test_a_meter_that_contradicts_a_closed_firing_says_so_and_changes_nothing(cosmo, kiln):
    firing = opened_firing(cosmo, kiln)
    close_firing(
        by=cosmo,
        at=firing.opened_at,
        firing=firing,
        result="reached",
        register_start_wh=0,
        register_end_wh=5000,
    )
    taken = take_in(cosmo, kiln, whole_span(firing, 500))
    assert "is recorded with 5.0 kWh; this meter says" in " ".join(taken.file.remarks)
    firing.refresh_from_db()
    assert (firing.state, firing.energy_wh) == (FiringState.CLOSED, 5000)
