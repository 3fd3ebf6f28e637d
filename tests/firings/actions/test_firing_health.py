"""What a closed firing leaves of its kiln's health, and what a kiln's firings tell together."""

from dataclasses import replace
from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext

from firings.actions.cool_down import begin_cooling
from firings.actions.end_firing import close_firing
from firings.actions.energy_explained import explain_energy
from firings.actions.firing_health import power_factor_of
from firings.actions.kiln_trends import kiln_trends
from firings.actions.kilns import add_part, edit_kiln, replace_part
from firings.actions.open_and_unload import ConeSeen, record_witness_cones
from firings.actions.readings import add_firing_readings
from firings.actions.weigh_load import weigh_load
from firings.calculations.firing_summary import summarise
from firings.calculations.log_heat import log_heat_c
from firings.models import Firing, FiringHealth, FiringState, WitnessCone
from firings.refusals import WareRefusal
from studio.refusals import Denied
from tests import scene
from tests.scene import NOON

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("nobody_listens")]

LATER = NOON + timedelta(days=2)
# Cone 04 is 1063 C and 03 1086 C at 60 C per hour (Orton chart): between them on layer 1.
PACK = [
    ConeSeen(1, "05", Decimal(1)),
    ConeSeen(1, "04", Decimal(1)),
    ConeSeen(1, "03", Decimal(0)),
]


@pytest.fixture
def cosmo():
    return scene.crew()


@pytest.fixture
def firing(cosmo):
    kiln = scene.kiln()
    scene.booking(scene.person("Ines"))
    return scene.started(cosmo, scene.loading(cosmo, kiln))


def opened(cosmo, firing, readings=None):
    readings = readings or scene.log(step_minutes=10)
    ended_at = readings[-1].at
    firing = add_firing_readings(
        by=None, at=ended_at, firing=firing, readings=readings, source="logger"
    ).firing
    firing = scene.opened(cosmo, firing, at=ended_at)
    return scene.unloaded(cosmo, firing, at=ended_at)


def closed(cosmo, firing, register_end_wh: int | None = 1_030_000):
    return close_firing(
        by=cosmo, at=LATER, firing=firing, result="reached", register_end_wh=register_end_wh
    )


def health_of(firing, at, **fields):
    """A closed firing of the same kiln with its signs, straight into the records."""
    made = Firing.objects.create(
        kiln=firing.kiln, state=FiringState.CLOSED, stage="glaze", cone="6", planned_for=at,
        started_at=at, opened_at=at + timedelta(days=1), energy_wh=40_000,
    )  # fmt: skip
    return FiringHealth.objects.create(firing=made, worked_out_at=at, **fields)


def test_a_closed_firing_keeps_what_it_told(firing, cosmo):
    firing = opened(cosmo, firing)
    record_witness_cones(by=cosmo, at=LATER, firing=firing, cones=PACK)
    firing = closed(cosmo, firing)
    kept = firing.health
    # 04 is down: 1063 - 2; 03 stands: 1086 - 15 + 2
    assert kept.cones_c == pytest.approx((1061 + 1073) / 2)
    assert kept.cones_layer == 1
    summary = summarise(scene.log(step_minutes=10))
    assert kept.log_heat_c == pytest.approx(log_heat_c(summary.heat, summary.peak_c))
    assert kept.offset_c == pytest.approx(kept.cones_c - kept.log_heat_c)
    assert (kept.full_power_w, kept.relay_cycles, kept.top_minus_bottom_c) == (None, None, None)
    assert kept.load_kg > 0


def test_a_firing_without_log_or_cones_closes_all_the_same(firing, cosmo):
    firing = begin_cooling(by=cosmo, at=NOON + timedelta(hours=9), firing=firing)
    firing = scene.opened(cosmo, firing, at=LATER)
    scene.unloaded(cosmo, firing, at=LATER)
    kept = closed(cosmo, firing).health
    assert (kept.log_heat_c, kept.cones_c, kept.offset_c) == (None, None, None)


def test_roles_are_told_from_the_cone_and_old_rows_stay_as_they_are(firing, cosmo):
    firing = opened(cosmo, firing)
    WitnessCone.objects.create(firing=firing, layer=2, cone="04", bend="0.5")  # as read before
    record_witness_cones(by=cosmo, at=LATER, firing=firing, cones=PACK)
    roles = dict(firing.witness_cones.filter(layer=1).values_list("cone", "role"))
    assert roles == {"05": "guide", "04": "firing", "03": "guard"}
    assert firing.witness_cones.get(layer=2).role == ""


def test_two_packs_stand_on_one_layer(firing, cosmo):
    firing = opened(cosmo, firing)
    both = [replace(PACK[1], position=side) for side in ("left", "right")]
    record_witness_cones(by=cosmo, at=LATER, firing=firing, cones=both)
    assert firing.witness_cones.filter(layer=1, cone="04").count() == 2


@pytest.mark.parametrize(
    ("seen", "code"),
    [
        ([ConeSeen(1, "04", Decimal(1), role="witness")], "unknown_role"),
        ([ConeSeen(1, "04", Decimal(1), position="lid")], "unknown_position"),
        ([ConeSeen(1, "04", Decimal(1))] * 2, "cone_twice"),
    ],
)
def test_what_no_pack_shows_is_refused(firing, cosmo, seen, code):
    firing = opened(cosmo, firing)
    with pytest.raises(WareRefusal) as refused:
        record_witness_cones(by=cosmo, at=LATER, firing=firing, cones=seen)
    assert refused.value.code == code
    assert not firing.witness_cones.exists()


def test_the_load_is_weighed_and_the_energy_explained_by_it(firing, cosmo):
    firing = opened(cosmo, firing)
    assert explain_energy(firing) is None  # not closed yet
    firing = closed(cosmo, firing)
    estimated = explain_energy(firing)
    assert not estimated.is_weighed
    firing = weigh_load(by=cosmo, at=LATER, firing=firing, load_kg=12.5)
    explained = explain_energy(firing)
    assert (explained.is_weighed, explained.ware.kg) == (True, 12.5)
    # 1,030,000 - 1,000,000 Wh on the meter
    assert sum(part.energy_wh for part in explained.balance.parts) == 30_000
    assert weigh_load(by=cosmo, at=LATER, firing=firing, load_kg=None).load_kg is None


def test_a_half_empty_kiln_is_seen_beside_an_empty_one(firing, cosmo):
    empty = health_of(firing, NOON - timedelta(days=9)).firing
    Firing.objects.filter(pk=empty.pk).update(
        is_empty_first_firing=True, closed_at=NOON, energy_wh=24_000
    )
    firing = closed(cosmo, opened(cosmo, firing))
    with CaptureQueriesContext(connection) as queries:
        explained = explain_energy(firing)
    assert [one.energy_wh for one in explained.empty] == [24_000]
    assert len(queries) == 4


@pytest.mark.parametrize("load_kg", [0, -3, 2_001, float("nan")])
def test_a_weight_that_cannot_be_is_refused(firing, cosmo, load_kg):
    with pytest.raises(WareRefusal) as refused:
        weigh_load(by=cosmo, at=NOON, firing=firing, load_kg=load_kg)
    assert refused.value.code == "absurd_weight"


def test_only_crew_weigh_and_only_what_is_loaded(firing, cosmo):
    with pytest.raises(Denied):
        weigh_load(by=scene.treasurer(), at=NOON, firing=firing, load_kg=10)
    planned = scene.planned(cosmo, scene.kiln(name="Wren"))
    with pytest.raises(WareRefusal):
        weigh_load(by=cosmo, at=NOON, firing=planned, load_kg=10)
    Firing.objects.filter(pk=firing.pk).update(is_empty_first_firing=True)
    with pytest.raises(WareRefusal) as refused:
        weigh_load(by=cosmo, at=NOON, firing=firing, load_kg=10)
    assert refused.value.code == "fires_empty"


def test_energy_by_duty_goes_by_what_the_elements_still_give(firing, cosmo):
    for days in (30, 20, 10):
        health_of(firing, NOON - timedelta(days=days), full_power_w=5_400.0)
    assert power_factor_of(firing.kiln) == pytest.approx(0.9)  # 5400 of 6000 W on the plate
    Firing.objects.filter(pk=firing.pk).update(register_start_wh=None)
    readings = [replace(one, duty=0.5) for one in scene.log(step_minutes=10)]
    firing = closed(cosmo, opened(cosmo, firing, readings), register_end_wh=None)
    assert firing.energy_source == "duty"
    assert firing.energy_working["how"]["power_factor"] == pytest.approx(0.9)


def test_new_elements_are_measured_anew(firing, cosmo):
    chief = scene.manager("Mika")
    for days in (30, 20, 10):
        health_of(firing, NOON - timedelta(days=days), full_power_w=5_400.0)
    add_part(
        by=chief, at=NOON, kiln=firing.kiln, kind="element", name="Elements",
        replacement_cost_minor=1, life_unit="firings", expected_life=Decimal(100),
        fitted_on=NOON.date(),
    )  # fmt: skip
    assert power_factor_of(firing.kiln) == 1.0


def test_a_kilns_trends_take_few_queries_however_many_firings(firing):
    for number in range(12):
        at = NOON - timedelta(days=60 - 3 * number)
        health_of(
            firing, at, full_power_w=5_900.0 / (1 + 0.011 * number),
            full_power_rate_c_per_h=250.0 - 2 * number, relay_cycles=3,
            log_heat_c=1230.0, cones_c=1222.0, cones_either_way_c=3.0,
        )  # fmt: skip
    with CaptureQueriesContext(connection) as queries:
        trends = kiln_trends(firing.kiln, at=LATER)
    assert len(queries) == 9
    assert (trends.wear.verdict, trends.wear.basis) == ("worn", "resistance")
    # 0.011 x 11 steps: 12 % more than at the first
    assert trends.resistance.change == pytest.approx(0.121, abs=0.01)
    assert trends.offset_advice.mean_c == pytest.approx(-8)
    assert trends.relay_cycles == 36
    assert (trends.witness_days, trends.witness_firings) == (None, 12)


def test_the_offset_begins_anew_with_a_thermocouple(firing):
    chief = scene.manager("Mika")
    Firing.objects.filter(pk=firing.pk).update(state=FiringState.CANCELLED)
    part = add_part(
        by=chief, at=NOON, kiln=firing.kiln, kind="thermocouple", name="Thermocouple",
        replacement_cost_minor=1, life_unit="firings", expected_life=Decimal(100),
        fitted_on=(NOON - timedelta(days=90)).date(),
    )  # fmt: skip
    for days in (9, 6, 3, -3):
        health_of(
            firing, NOON - timedelta(days=days), log_heat_c=1230.0, cones_c=1222.0,
            cones_either_way_c=3.0,
        )  # fmt: skip
    replace_part(by=chief, at=NOON, part=part)
    before, after = kiln_trends(firing.kiln, at=LATER).offset_runs
    assert (len(before.offsets), len(after.offsets)) == (3, 1)
    assert after.begun_by == ("Thermocouple",)


def test_a_thermocouple_above_the_chamber_is_refused(firing):
    chief = scene.manager("Mika")
    with pytest.raises(WareRefusal) as refused:
        edit_kiln(
            by=chief, at=NOON, kiln=firing.kiln, fields={"thermocouple_height_mm": 571}
        )  # the chamber is 570 mm high
    assert refused.value.field == "thermocouple_height_mm"


@pytest.mark.parametrize(
    "deed",
    [
        lambda firing: Firing.objects.filter(pk=firing.pk).update(load_kg=0),
        lambda firing: Firing.objects.filter(pk=firing.pk).update(load_kg=2_001),
        lambda firing: WitnessCone.objects.create(firing=firing, cone="6", bend=1, role="wit"),
        lambda firing: WitnessCone.objects.create(firing=firing, cone="6", bend=1, position="lid"),
        lambda firing: WitnessCone.objects.bulk_create(
            [WitnessCone(firing=firing, cone="6", bend=1) for _ in range(2)]
        ),
        lambda firing: health_of(firing, NOON, cones_c=1222.0),
        lambda firing: health_of(firing, NOON, full_power_w=0.0),
    ],
)
def test_the_database_refuses_what_cannot_be(firing, deed):
    with pytest.raises(IntegrityError), transaction.atomic():
        deed(firing)
