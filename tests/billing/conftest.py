"""The studio of `tests.billing.scene`, ready to be charged."""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from billing.models import BillingPolicy, TariffVersion
from firings.models import Firing, Kiln
from studio.models import Account, Person, Role
from tests.billing.scene import (
    fire_with_ware,
    fit_relays,
    make_account,
    make_kiln,
    make_person,
    make_studio,
    make_tariff,
)


@dataclass
class Books:
    treasurer: Person
    manager: Person
    ada: Person
    ben: Person
    ada_account: Account
    ben_account: Account
    kiln: Kiln
    tariff: TariffVersion

    def firing(self, **fields: object) -> Firing:
        """Ada has two bookings in it, Ben one."""
        wares = [(self.ada, 30_000), (self.ben, 50_000), (self.ada, 20_000)]
        return fire_with_ware(self.kiln, wares, **fields)


def open_books() -> Books:
    """Consumables 1.50 and handling 1.00 a firing, relays 60.00 for 300 firings, 0.21 a kWh."""
    make_studio()
    policy = BillingPolicy.current()
    policy.consumables_per_firing_minor, policy.handling_per_firing_minor = 150, 100
    policy.how_to_pay = "Bank transfer to Ashbank Studio, or cash at the desk."
    policy.save()
    kiln = make_kiln()
    fit_relays(kiln)
    ada_account, ben_account = make_account(101, "Ada Rowan"), make_account(102, "Ben Sallow")
    return Books(
        treasurer=make_person("Tess Till", Role.TREASURER),
        manager=make_person("Mara Dunn", Role.MANAGER),
        ada=make_person("Ada Rowan", Role.MEMBER, account=ada_account),
        ben=make_person("Ben Sallow", Role.MEMBER, account=ben_account),
        ada_account=ada_account,
        ben_account=ben_account,
        kiln=kiln,
        tariff=make_tariff(),
    )


@pytest.fixture
def books(db: None) -> Books:
    return open_books()


@pytest.fixture
def committed_books(transactional_db: None) -> Books:
    """The same for tests with threads, which need what was committed."""
    return open_books()
