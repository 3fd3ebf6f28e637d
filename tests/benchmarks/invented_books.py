"""Books of any size for the benchmarks: a month of firings to close, years of postings to sum.

A firing's cost is posted by the product's own action. Bookings, and the entries of past years, are
inserted in bulk: through the same tables and past the same triggers.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from datetime import date, datetime, timedelta
from typing import Any

from django.db import connection, transaction

from billing.actions.month_sums import ONE_DAY
from billing.actions.price_firing import post_firing_cost
from billing.calculations.wall_clock import next_month
from billing.models import JournalEntry, LedgerAccount, MonthBalance, MonthClose, Posting
from firings.models import Booking, BookingState, Clay, Firing, Kiln
from studio.actions.many_rows import insert_many
from studio.models import Account, Person, Role
from tests.billing import scene

LEGS = 10
FIRST_MONTH = date(2021, 3, 1)
MONTHS = 60


def open_books(accounts: int) -> Person:
    """The invented studio with its accounts, one member each, and a treasurer."""
    scene.make_studio()
    scene.make_tariff()
    treasurer = scene.make_person("Tess Till", Role.TREASURER)
    Account.objects.bulk_create(
        Account(number=number, name=f"Account {number}") for number in range(1, accounts + 1)
    )
    Person.objects.bulk_create(
        Person(name=f"Member {one.number}", email=f"{one.number}@example.org", account=one)
        for one in Account.objects.all()
    )
    return treasurer


def fire_a_month(firings: int) -> None:
    """March's firings, in which each member has two bookings."""
    kiln = scene.make_kiln()
    scene.fit_relays(kiln)
    clay = Clay.objects.create(name="Speckled", cone_low="5", cone_high="7")
    members = list(Person.objects.exclude(account=None).order_by("pk"))
    slips = 2 * len(members)
    for number in range(firings):
        mine = range(number * slips // firings, (number + 1) * slips // firings)
        at = scene.NOON + timedelta(hours=8 * number % 480)
        with transaction.atomic():
            firing = _load(kiln, clay, at, [(slip, members[slip % len(members)]) for slip in mine])
            post_firing_cost(firing, None, at)


def _load(kiln: Kiln, clay: Clay, at: datetime, slips: Sequence[tuple[int, Person]]) -> Firing:
    firing = scene.make_firing(kiln, started_at=at)
    Booking.objects.bulk_create(
        Booking(
            slip=f"S{slip}",
            member=member,
            account_id=member.account_id,
            state=BookingState.READY,
            stage=firing.stage,
            cone=firing.cone,
            clay=clay,
            dry_on=at.date(),
            firing=firing,
            charged_area_mm2=3_000 + 17 * (slip % 400),
            booked_area_mm2=3_000,
            booked_at=at,
            pick_up_place="Shelf 1",
        )
        for slip, member in slips
    )
    return firing


def post_years(postings: int) -> None:
    """Five years of entries with ten legs each, every month closed with its balances kept."""
    receivables = [
        LedgerAccount(code=f"1100-{one.number}", name=one.name, kind="asset", holder=one)
        for one in Account.objects.all()
    ]
    income = LedgerAccount(code="4900", name="Firing income", kind="income")
    LedgerAccount.objects.bulk_create([income, *receivables])
    treasurer = Person.objects.get(name="Tess Till")
    count = Counter[int]()
    accounts = list(LedgerAccount.objects.exclude(holder=None).values_list("pk", flat=True))
    income_id = LedgerAccount.objects.get(code="4900").pk
    for number, month in enumerate(months()):
        first = number * postings // MONTHS // LEGS
        last = (number + 1) * postings // MONTHS // LEGS
        with transaction.atomic():
            _post_month(month, range(first, last), accounts, income_id, count)
            if month != LAST_MONTH:
                _close(month, treasurer, count)


def months() -> Iterator[date]:
    month = FIRST_MONTH
    for _ in range(MONTHS):
        yield month
        month = next_month(month)


LAST_MONTH = list(months())[-1]


def _post_month(
    month: date, entries: range, accounts: Sequence[int], income_id: int, held: Counter[int]
) -> None:
    sources = [f"past:{number}" for number in entries]
    days = [(month + timedelta(days=number % 28)).isoformat() for number in entries]
    insert_many(
        JournalEntry,
        ("on", "source"),
        zip(days, sources, strict=True),
        {"text": "A firing of the past", "written_at": scene.NOON},
    )
    written = JournalEntry.objects.filter(posted_at=None).order_by("pk")
    legs = [
        leg for pk in written.values_list("pk", flat=True) for leg in _legs(pk, accounts, income_id)
    ]
    insert_many(Posting, ("entry_id", "account_id", "amount_minor"), legs, {})
    written.update(posted_at=scene.NOON)
    for _, account_id, amount_minor in legs:
        held[account_id] += amount_minor


def _legs(pk: int, accounts: Sequence[int], income_id: int) -> list[tuple[int, int, int]]:
    charged = [
        (pk, accounts[(7 * pk + 31 * place) % len(accounts)], 100 + (pk * 13 + place) % 900)
        for place in range(LEGS - 1)
    ]
    return [*charged, (pk, income_id, -sum(minor for _, _, minor in charged))]


def _close(month: date, treasurer: Person, held: Counter[int]) -> None:
    MonthClose.objects.create(month=month, closed_at=scene.NOON, closed_by=treasurer)
    rows: list[tuple[Any, ...]] = [(pk, minor) for pk, minor in held.items() if minor]
    last_day = next_month(month) - ONE_DAY
    insert_many(MonthBalance, ("account_id", "balance_minor"), rows, {"on": last_day})


def gather_statistics() -> None:
    """As the database would by itself after a while; the plans that are compared depend on it."""
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
