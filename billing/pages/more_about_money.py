"""What stands about money on the pages of bookings, firings and accounts."""

from __future__ import annotations

from django.http import HttpRequest

from billing.actions.refunds import refunded_minor
from billing.models import CrewTurn, FiringCost, Share
from billing.pages.my_account import standing_of, today
from firings.models import Booking, BookingState, Firing, FiringState
from studio.models import Account, Role
from studio.pages.home import Panel

WAS_FIRED = (
    BookingState.FIRED,
    BookingState.READY,
    BookingState.COLLECTED,
    BookingState.LOST,
)
AT_WORK = (
    FiringState.LOADING,
    FiringState.FIRING,
    FiringState.COOLING,
    FiringState.COOLED,
    FiringState.OPENED,
)
OVER = (FiringState.CLOSED, FiringState.ABORTED)


def booking_panel(request: HttpRequest, booking: Booking) -> Panel | None:
    """What the ware cost and the way to its working; for its account and for keepers of books.

    Crew are not told the amount, but they see what the kiln did: they may give part of it back.
    """
    person = request.user
    keeps_books = person.has_role(Role.TREASURER, Role.MANAGER)  # type: ignore[union-attr]
    is_crew = person.has_role(Role.CREW)  # type: ignore[union-attr]
    is_own = booking.account_id == person.account_id  # type: ignore[union-attr]
    if booking.state not in WAS_FIRED or booking.firing_id is None:
        return None
    if not (is_own or keeps_books or is_crew):
        return None
    shares = Share.objects.filter(booking=booking).select_related("cost__entry")
    found = list(shares.order_by("-pk"))
    standing = next((share for share in found if share.cost.reversed_at is None), None)
    may_refund = (is_crew or keeps_books) and bool(standing and standing.amount_minor)
    if not (is_own or keeps_books):
        refund = Panel("billing/panels/booking_refund.html", {"share": standing})
        return refund if may_refund else None
    context = {
        "share": standing,
        "refunded_minor": 0 if standing is None else refunded_minor(standing),
        "may_refund": may_refund,
        "taken_back": [share for share in found if share is not standing],
        "cost": None if standing else _cost_that_stands(booking.firing_id),
    }
    return Panel("billing/panels/booking_cost.html", context)


def firing_panel(request: HttpRequest, firing: Firing) -> Panel | None:
    """What the firing cost; crew read the sums, keepers of books find the working behind them."""
    person = request.user
    if firing.state not in (*AT_WORK, *OVER) or not person.has_role(  # type: ignore[union-attr]
        Role.CREW, Role.TREASURER, Role.MANAGER
    ):
        return None
    context = {
        "firing": firing,
        "is_over": firing.state in OVER,
        "turns": CrewTurn.objects.filter(firing=firing).select_related("person"),
        "cost": _cost_that_stands(firing.pk),
        "used_none": firing.energy_wh == 0 or firing.started_at is None,
        "keeps_books": person.has_role(Role.TREASURER, Role.MANAGER),  # type: ignore[union-attr]
    }
    return Panel("billing/panels/firing_cost.html", context)


def account_panel(request: HttpRequest, account: Account) -> Panel | None:
    """What the account owes now, and where each movement stands."""
    person = request.user
    keeps_books = person.has_role(Role.TREASURER, Role.MANAGER)  # type: ignore[union-attr]
    if not keeps_books and account.pk != person.account_id:  # type: ignore[union-attr]
        return None
    context = {"standing": standing_of(account, today(request)), "keeps_books": keeps_books}
    return Panel("billing/panels/account_standing.html", context)


def _cost_that_stands(firing_id: int) -> FiringCost | None:
    return FiringCost.objects.filter(firing=firing_id, reversed_at=None).first()
