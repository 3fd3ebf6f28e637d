"""An invented small studio that tests are set in: dull on purpose, everything has a default."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

from firings.actions.book import PieceRequest, book_ware
from firings.actions.kilns import ShelvesWanted, add_kiln
from firings.actions.load import fill_load
from firings.actions.open_and_unload import open_firing, shelve_booking
from firings.actions.plan_firing import begin_loading, plan_firing
from firings.actions.readings import add_firing_readings
from firings.actions.start import start_check, start_firing
from firings.calculations.readings import Reading as Moment
from firings.models import Booking, Clay, Firing, Glaze, Kiln, KilnState
from studio.models import Account, Person, Role, RoleHolding

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)  # a Monday
MUG = PieceRequest(name="Mug", shape="round", across_mm=90, height_mm=100)
PASSWORD = "wet clay on both hands"

FIRST_KILN = {
    "name": "Heron",
    "chamber_shape": "round",
    "chamber_across_mm": 460,
    "chamber_height_mm": 570,
    "rated_power_w": 6_000,
    "supply_v": 240,
    "breaker_a": 40,
    "cone_limit": "10",
    "post_heights_mm": [13, 25, 51, 76, 102, 127, 152],
}
ROUND_SHELVES = ShelvesWanted(shape="round", across_mm=394, thickness_mm=16, count=4)


def person(name: str = "Ines", *roles: Role, account: Account | None = None) -> Person:
    """Somebody with a billing account, a member at least."""
    number = Account.objects.count() + 1
    account = account or Account.objects.create(number=number, name=f"{name}'s account")
    email = f"{name.lower()}@example.org"
    someone = Person.objects.create_user(email, PASSWORD, name=name, account=account)
    for role in {Role.MEMBER, *roles}:
        RoleHolding.objects.create(person=someone, role=role)
    return someone


def crew(name: str = "Cosmo") -> Person:
    return person(name, Role.CREW)


def manager(name: str = "Marta") -> Person:
    return person(name, Role.MANAGER)


def treasurer(name: str = "Tove") -> Person:
    return person(name, Role.TREASURER)


def kiln(*, state: KilnState = KilnState.IN_SERVICE, **fields: Any) -> Kiln:
    """A kiln of the usual small size, past its first firing."""
    chief = Person.objects.holding(Role.MANAGER).first() or manager()
    made = add_kiln(by=chief, at=NOON, shelves=ROUND_SHELVES, fields={**FIRST_KILN, **fields})
    made.state = state
    made.save()
    made.care_tasks.all().delete()
    return made


def clay(name: str = "Buff stoneware", **fields: Any) -> Clay:
    ranges = {"cone_low": "5", "cone_high": "7", "bisque_cone_low": "08", "bisque_cone_high": "04"}
    return Clay.objects.get_or_create(name=name, defaults={**ranges, **fields})[0]


def glaze(name: str = "Rain", low: str = "5", high: str = "6") -> Glaze:
    defaults = {"cone_low": low, "cone_high": high}
    return Glaze.objects.get_or_create(name=name, defaults=defaults)[0]


def booking(
    member: Person, *, stage: str = "bisque", at: datetime = NOON, **fields: Any
) -> Booking:
    """Four mugs for the next bisque (or glaze) firing, dry already."""
    usual: dict[str, Any] = {
        "cone": "04" if stage == "bisque" else "6",
        "clay": clay(),
        "glazes": [] if stage == "bisque" else [glaze()],
        "dry_on": at.date(),
    }
    if not {"pieces", "shelf_fraction"} & set(fields):
        usual["pieces"] = [PieceRequest(MUG.name, MUG.shape, MUG.across_mm, MUG.height_mm, count=4)]
    return book_ware(by=member, at=at, stage=stage, **{**usual, **fields})


def planned(by: Person, in_kiln: Kiln, *, at: datetime = NOON, **fields: Any) -> Firing:
    usual = {"stage": "bisque", "cone": "04", "planned_for": at + timedelta(hours=2)}
    return plan_firing(by=by, at=at, kiln=in_kiln, **{**usual, **fields})


def loading(by: Person, in_kiln: Kiln, *, at: datetime = NOON, **fields: Any) -> Firing:
    """A firing whose load is made from what waits."""
    firing = begin_loading(by=by, at=at, firing=planned(by, in_kiln, at=at, **fields))
    fill_load(by=by, at=at, firing=firing)
    return firing


def started(
    by: Person, firing: Firing, *, at: datetime = NOON, register_start_wh: int | None = 1_000_000
) -> Firing:
    ticks = [item.code for item in start_check(firing)]
    return start_firing(
        by=by, at=at, firing=firing, ticked=ticks, register_start_wh=register_start_wh
    )


def log(
    started_at: datetime = NOON, *, peak_c: float = 1060, end_c: float = 45, step_minutes: int = 30
) -> list[Moment]:
    """A made-up log: eight hours up, then twenty hours down to `end_c`."""
    up, down = 8 * 60 // step_minutes, 20 * 60 // step_minutes
    rise = [20 + (peak_c - 20) * n / up for n in range(up + 1)]
    fall = [peak_c + (end_c - peak_c) * n / down for n in range(1, down + 1)]
    tail = [end_c, end_c]
    return [
        Moment(at=started_at + timedelta(minutes=step_minutes * n), temp_c=round(temp_c, 1))
        for n, temp_c in enumerate([*rise, *fall, *tail])
    ]


def cooled(by: Person, firing: Firing, *, at: datetime = NOON) -> tuple[Firing, datetime]:
    """A started firing whose log came in to the end; and the time of its last reading."""
    readings = log(at)
    ended_at = readings[-1].at
    received = add_firing_readings(
        by=by, at=ended_at, firing=firing, readings=readings, source="file"
    )
    return received.firing, ended_at


def opened(by: Person, firing: Firing, *, at: datetime) -> Firing:
    return open_firing(by=by, at=at, firing=firing, temp_c=44)


def unloaded(by: Person, firing: Firing, *, at: datetime, place: str = "Shelf B") -> Firing:
    for ware in firing.bookings.all():
        shelve_booking(by=by, at=at, booking=ware, place=place)
    return firing


def tomorrow(at: datetime = NOON) -> date:
    return at.date() + timedelta(days=1)
