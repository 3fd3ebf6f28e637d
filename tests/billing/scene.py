"""Our own small studio for the books: two members, a treasurer, one kiln. Nothing here is real."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from itertools import count

from billing.models import TariffVersion
from firings.models import (
    Booking,
    BookingState,
    Clay,
    Firing,
    FiringState,
    Kiln,
    KilnPart,
    KilnState,
    Layer,
    LifeUnit,
    PartKind,
    ShelfSet,
)
from studio.models import Account, Person, Role, RoleHolding, Studio

NOON = datetime(2026, 3, 10, 12, tzinfo=UTC)
AFTER_MARCH = datetime(2026, 4, 2, 9, tzinfo=UTC)
AFTER_APRIL = datetime(2026, 5, 2, 9, tzinfo=UTC)
MARCH = date(2026, 3, 1)
APRIL = date(2026, 4, 1)
_numbers = count(1)


def make_studio(**changes: object) -> Studio:
    studio = Studio.current()
    values = {"name": "Ashbank Studio", "currency": "EUR", "time_zone": "Europe/Berlin", **changes}
    for name, value in values.items():
        setattr(studio, name, value)
    studio.save()
    return studio


def make_person(name: str, *roles: Role, account: Account | None = None) -> Person:
    person = Person.objects.create(
        name=name, email=f"{name.lower().replace(' ', '.')}@example.org", account=account
    )
    RoleHolding.objects.bulk_create(RoleHolding(person=person, role=role) for role in roles)
    return person


def make_account(number: int, name: str) -> Account:
    return Account.objects.create(number=number, name=name)


def make_kiln(name: str = "Old Faithful") -> Kiln:
    """A kiln with one rectangular shelf set of 400 by 500 mm: 200,000 mm2 a shelf."""
    kiln = Kiln.objects.create(
        name=name,
        state=KilnState.IN_SERVICE,
        chamber_shape="rectangle",
        chamber_across_mm=460,
        chamber_depth_mm=560,
        chamber_height_mm=600,
        rated_power_w=9000,
        post_heights_mm=[100, 150],
    )
    ShelfSet.objects.create(kiln=kiln, shape="rectangle", across_mm=400, depth_mm=500)
    return kiln


def fit_relays(kiln: Kiln, *, cost_minor: int = 6000, life_firings: int = 300) -> KilnPart:
    return KilnPart.objects.create(
        kiln=kiln,
        kind=PartKind.RELAY,
        name="Relays",
        replacement_cost_minor=cost_minor,
        life_unit=LifeUnit.FIRINGS,
        expected_life=life_firings,
        fitted_on=date(2025, 1, 1),
    )


def make_tariff(price: str = "0.21", valid_from: date = date(2026, 1, 1)) -> TariffVersion:
    return TariffVersion.objects.create(
        name="Town works",
        valid_from=valid_from,
        rates={"kind": "flat", "price_per_kwh": price},
        made_at=NOON,
    )


def make_firing(
    kiln: Kiln,
    *,
    started_at: datetime = NOON,
    energy_wh: int | None = 42_300,
    state: str = FiringState.CLOSED,
    **fields: object,
) -> Firing:
    firing = Firing.objects.create(
        kiln=kiln,
        state=state,
        stage="glaze",
        cone="6",
        planned_for=started_at,
        started_at=started_at,
        cooling_at=started_at + timedelta(hours=9),
        closed_at=started_at + timedelta(days=2),
        energy_wh=energy_wh,
        energy_source="meter_register",
        **fields,
    )
    Layer.objects.create(firing=firing, position=0, shelf_set=kiln.shelf_sets.get())
    return firing


def put_ware(
    firing: Firing, member: Person, area_mm2: int, state: str = BookingState.READY
) -> Booking:
    clay, _ = Clay.objects.get_or_create(name="Speckled", cone_low="5", cone_high="7")
    return Booking.objects.create(
        slip=f"S{next(_numbers)}",
        member=member,
        account=member.account,
        state=state,
        stage=firing.stage,
        cone=firing.cone,
        clay=clay,
        dry_on=firing.started_at.date(),
        firing=firing,
        charged_area_mm2=area_mm2,
        booked_area_mm2=area_mm2,
        booked_at=NOON,
        pick_up_place="Shelf 1",
    )


def fire_with_ware(kiln: Kiln, wares: Sequence[tuple[Person, int]], **fields: object) -> Firing:
    firing = make_firing(kiln, **fields)
    for member, area_mm2 in wares:
        put_ware(firing, member, area_mm2)
    return firing
