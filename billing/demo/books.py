"""The treasurer's side: tariffs, month closes, and how people pay. All prices are invented."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from functools import partial
from typing import Any

from billing.actions.balances import balance_minor_of
from billing.actions.close_month import close_month, month_to_close
from billing.actions.month_charge_lines import has_monthly_charges
from billing.actions.payments import give_credit, record_payment, reverse_payment
from billing.actions.policy import edit_billing_policy
from billing.actions.share_month_charges import share_month_charges
from billing.actions.tariffs import add_tariff_version
from billing.calculations.holidays_of import holiday_dates
from billing.calculations.wall_clock import next_month
from billing.demo.electricity_bills import ElectricityBills
from billing.demo.memberships import plan_memberships
from billing.demo.scene import TIME_ZONE, Scene, day_of
from billing.models import MonthClose, Payment, Statement
from firings.models import Booking, BookingState
from studio.models import Account

WORKING_DAYS = ["mon", "tue", "wed", "thu", "fri"]
WHOLE_YEAR = {"name": "all year", "first_day": "01-01", "last_day": "12-31"}
FLAT = {"kind": "flat", "price_per_kwh": "0.1685"}


def by_the_hour(years: set[int]) -> dict[str, Any]:
    """A dear evening, a middling day and a cheap night; winters start earlier in the day."""
    return {
        "kind": "time_of_use",
        "time_zone": TIME_ZONE,
        "periods": [
            {"name": "night", "price_per_kwh": "0.1090"},
            {"name": "day", "price_per_kwh": "0.1725"},
            {"name": "evening", "price_per_kwh": "0.2460"},
        ],
        "default_period": "night",
        "seasons": [
            _season("winter", "11-01", "03-31", (("07:00", "16:00", "day"),
                                                 ("16:00", "20:00", "evening"))),
            _season("summer", "04-01", "10-31", (("08:00", "17:00", "day"),
                                                 ("17:00", "21:00", "evening"))),
        ],
        "holidays": [day.isoformat() for day in holiday_dates("CA", "NS", years)],
        "holiday_period": "night",
        "fixed": {"per_day": "0", "per_month": "19.50"},
        "demand": [
            {
                "name": "evening demand",
                "window_minutes": 30,
                "periods": ["evening"],
                "prices": [{**WHOLE_YEAR, "price_per_kw": "2.40"}],
            }
        ],
    }  # fmt: skip


def _season(
    name: str, first_day: str, last_day: str, rules: tuple[tuple[str, str, str], ...]
) -> dict[str, Any]:
    return {
        "name": name,
        "first_day": first_day,
        "last_day": last_day,
        "rules": [
            {"weekdays": WORKING_DAYS, "from": start, "to": end, "period": period}
            for start, end, period in rules
        ],
    }


class Books:
    """What the treasurer does from the first tariff to the last payment."""

    def __init__(self, scene: Scene) -> None:
        self.scene = scene
        self.returned: Payment | None = None
        self.bills = ElectricityBills(scene)

    def begin(self) -> None:
        """Set the rates of the first day; plan the second tariff, the closes and the credit."""
        scene = self.scene
        scene.timeline.plan(scene.moment(scene.first_day, "11:00"), self._open_books)
        second_from = self._second_tariff_from()
        known_on = max(second_from - timedelta(days=12), scene.day(1))
        scene.timeline.plan(
            scene.moment(known_on, "10:15"), partial(self._add_second_tariff, second_from)
        )
        first = next_month(scene.first_day)
        while scene.moment(first, "00:01") < scene.now:
            usual = scene.moment(first + timedelta(days=1), "19:10")
            scene.timeline.plan(min(usual, scene.now - timedelta(minutes=2)), self.close)
            first = next_month(first)
        scene.timeline.plan(scene.some_time(scene.at_share(0.7)), self._give_credit)
        plan_memberships(scene)

    def _second_tariff_from(self) -> date:
        """The first of a month near the middle; a day of its own in a span of few weeks."""
        middle = self.scene.at_share(0.5)
        first = middle.replace(day=1)
        return first if first > self.scene.day(5) else middle

    def _open_books(self, at: datetime) -> None:
        edit_billing_policy(
            by=self.scene.treasurer,
            at=at,
            split_policy="used",
            consumables_per_firing_minor=180,
            handling_per_firing_minor=250,
            fixed_kind="percent",
            fixed_percent=20,
            minimum_charge_minor=100,
            payment_days=21,
            how_to_pay="Bank transfer to Saltmarsh Clay Commons with your reference, "
            "or cash in the tin at the desk.",
        )
        add_tariff_version(
            by=self.scene.treasurer,
            at=at,
            name="Merrow Light, one price",
            valid_from=self.scene.first_day - timedelta(days=60),
            rates=FLAT,
        )

    def _add_second_tariff(self, valid_from: date, at: datetime) -> None:
        add_tariff_version(
            by=self.scene.treasurer,
            at=at,
            name="Merrow Light, by the hour",
            valid_from=valid_from,
            rates=by_the_hour({valid_from.year, valid_from.year + 1}),
        )

    # --- Month by month ---------------------------------------------------------------------

    def close(self, at: datetime) -> None:
        """Close what is over and plan who pays when."""
        month = month_to_close(at)
        if month is None:
            return
        if has_monthly_charges(month):
            share_month_charges(by=self.scene.treasurer, at=at, month=month)
        self.bills.enter(month, at)
        close = close_month(by=self.scene.treasurer, at=at, month=month)
        owing = Statement.objects.filter(close=close, closing_minor__gt=0).order_by("number")
        for statement in owing.select_related("account"):
            self._plan_payment(statement, at)
        if MonthClose.objects.count() == 2:
            self.scene.timeline.plan(at + timedelta(days=9), self._bank_returns)

    def _plan_payment(self, statement: Statement, at: datetime) -> None:
        """Most pay within two weeks; some late, some in part, some not before the next one."""
        dice = self.scene.dice
        manner = dice.choices(("prompt", "part", "late", "not yet"), weights=(76, 9, 10, 5))[0]
        if manner == "not yet":
            return
        days = dice.randint(26, 45) if manner == "late" else dice.randint(1, 16)
        share = dice.choice((0.4, 0.5, 0.6)) if manner == "part" else 1.0
        paid_at = self.scene.some_time(day_of(at, days), 9, 18)
        self.scene.timeline.plan(
            paid_at, partial(self._take_payment, statement.account, statement, share)
        )

    def _take_payment(
        self, account: Account, statement: Statement, share: float, at: datetime
    ) -> None:
        owed_minor = balance_minor_of(account, day_of(at))
        amount_minor = min(owed_minor, int(statement.closing_minor * share))
        if amount_minor <= 0:
            return
        is_cash = self.scene.is_chance(0.25)
        if is_cash:
            amount_minor = -(-amount_minor // 500) * 500 if share == 1.0 else amount_minor
        payment = record_payment(
            by=self.scene.treasurer,
            at=at,
            account=account,
            received_on=day_of(at),
            amount_minor=amount_minor,
            method="cash" if is_cash else "bank",
            reference="" if is_cash else f"Statement {statement.number}",
        )
        if not is_cash and share == 1.0:
            self.returned = payment

    def _bank_returns(self, at: datetime) -> None:
        """The latest transfer comes back; it is paid again a week later."""
        payment = self.returned
        if payment is None:
            return
        reverse_payment(
            by=self.scene.treasurer,
            at=at,
            payment=payment,
            reason="Returned by the bank: the account it came from was closed.",
        )
        statement = Statement.objects.filter(account=payment.account).latest("number")
        self.scene.timeline.plan(
            at + timedelta(days=7), partial(self._take_payment, payment.account, statement, 1.0)
        )

    def _give_credit(self, at: datetime) -> None:
        """Kiln wash had flaked on somebody's ware, glazed if there is any: not their doing."""
        fetched = Booking.objects.filter(state=BookingState.COLLECTED)
        booking = fetched.order_by("-stage", "-collected_at", "pk").first()
        if booking is not None:
            give_credit(
                by=self.scene.treasurer,
                at=at,
                account=booking.account,
                amount_minor=400,
                reason=f"Slip {booking.slip}: the kiln wash had flaked on to it.",
            )
