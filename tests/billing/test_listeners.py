"""Closing and breaking off a firing, done for real, and what it does to the books."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from billing.models import FiringCost, JournalEntry, TariffVersion
from billing.refusals import BillingRefusal
from firings.actions.end_firing import abort_firing, close_firing
from firings.models import Firing, FiringState, Result
from studio.models import Person
from tests import scene
from tests.billing.scene import make_tariff


@pytest.fixture
def crew(db: None) -> Person:
    return scene.crew()


@pytest.fixture
def firing(crew: Person) -> Firing:
    """Two members' mugs, fired by a meter that ran from 1,000 kWh."""
    kiln = scene.kiln()
    scene.booking(scene.person("Ines"))
    scene.booking(scene.person("Odo"))
    return scene.started(crew, scene.loading(crew, kiln))


def close(crew: Person, firing: Firing) -> FiringCost:
    firing, at = scene.cooled(crew, firing)
    scene.unloaded(crew, scene.opened(crew, firing, at=at), at=at)
    close_firing(by=crew, at=at, firing=firing, result=Result.REACHED, register_end_wh=1_030_000)
    return FiringCost.objects.get(firing=firing)


def test_closing_a_firing_charges_its_members(crew: Person, firing: Firing) -> None:
    make_tariff("0.20")  # 30 kWh x 0.20 = 6.00, the same mugs on both sides: 3.00 each
    cost = close(crew, firing)
    assert list(cost.shares.values_list("amount_minor", flat=True)) == [300, 300]
    assert cost.entry.on == date(2026, 3, 2)


def test_firing_is_not_closed_when_its_cost_is_refused(crew: Person, firing: Firing) -> None:
    with pytest.raises(BillingRefusal, match="No electricity tariff holds on 2 March 2026"):
        close(crew, firing)
    firing.refresh_from_db()
    assert firing.state == FiringState.OPENED
    assert firing.energy_wh is None
    assert not JournalEntry.objects.exists()


@pytest.mark.parametrize(("has_tariff", "carried_minor"), [(True, [200]), (False, [])])
def test_breaking_off_is_never_refused(
    crew: Person, firing: Firing, has_tariff: bool, carried_minor: list[int]
) -> None:
    if has_tariff:
        make_tariff("0.20")  # 10 kWh x 0.20 = 2.00
    abort_firing(
        by=crew,
        at=scene.NOON + timedelta(hours=3),
        firing=firing,
        reason="power cut",
        register_end_wh=1_010_000,
    )
    assert list(FiringCost.objects.values_list("studio_minor", flat=True)) == carried_minor
    assert TariffVersion.objects.exists() == has_tariff
