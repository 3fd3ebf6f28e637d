"""What stands about money on the pages of bookings, firings and accounts, and for whom."""

from __future__ import annotations

from django.test import Client
from django.utils import timezone

from billing.actions.close_month import close_month
from billing.actions.payments import record_payment
from billing.actions.price_firing import reverse_firing_cost
from billing.models import FiringCost
from firings.models import Booking, BookingState, Firing, FiringState
from studio.models import Role
from tests.billing.conftest import Books
from tests.billing.faces_scene import priced, signed_in, text_of
from tests.billing.scene import AFTER_MARCH, MARCH, make_person


def closed(books: Books) -> FiringCost:
    cost = priced(books)
    Firing.objects.filter(pk=cost.firing_id).update(state=FiringState.CLOSED)
    return cost


def test_booking_page_says_what_it_cost_and_leads_to_the_working(books: Books, ada: Client) -> None:
    share = closed(books).shares.get(amount_minor=347)
    page = text_of(ada.get(f"/ware/{share.booking.slip}/"))
    assert "What it cost" in page
    assert "€3.47" in page
    assert f'href="/shares/{share.pk}/"' in page


def test_cost_of_a_booking_is_hidden_from_crew_of_other_accounts(books: Books) -> None:
    share = closed(books).shares.get(amount_minor=347)
    crew = signed_in(make_person("Kit Crew", Role.CREW))
    page = text_of(crew.get(f"/ware/{share.booking.slip}/"))
    assert share.booking.slip in page
    assert "What it cost" not in page
    assert "3.47" not in page


def test_booking_page_is_silent_about_cost_before_the_firing(books: Books, ada: Client) -> None:
    share = closed(books).shares.get(amount_minor=347)
    Booking.objects.filter(pk=share.booking_id).update(state=BookingState.PLACED)
    assert "What it cost" not in text_of(ada.get(f"/ware/{share.booking.slip}/"))


def test_booking_of_an_open_firing_says_when_it_is_charged(books: Books, ada: Client) -> None:
    firing = books.firing()
    booking = firing.bookings.filter(account=books.ada_account).first()
    assert "charged when the crew closes the firing" in text_of(ada.get(f"/ware/{booking.slip}/"))


def test_booking_page_shows_a_charge_that_was_taken_back(books: Books, ada: Client) -> None:
    cost = closed(books)
    share = cost.shares.get(amount_minor=347)
    reverse_firing_cost(by=books.treasurer, at=timezone.now(), cost=cost, reason="wrong meter")
    page = text_of(ada.get(f"/ware/{share.booking.slip}/"))
    assert "taken back on" in page
    assert "charged when the crew closes" in page


def test_firing_page_shows_crew_the_sum_and_the_treasurer_the_way_to_it(
    books: Books, tess: Client
) -> None:
    cost = closed(books)
    crew = signed_in(make_person("Kit Crew", Role.CREW))
    link = f'href="/books/costs/{cost.pk}/"'
    for client, is_linked in ((crew, False), (tess, True)):
        page = text_of(client.get(f"/firings/{cost.firing_id}/"))
        assert "€11.58" in page
        assert (link in page) is is_linked


def test_closed_firing_without_a_cost_leads_the_treasurer_to_the_costs(
    books: Books, tess: Client
) -> None:
    firing = books.firing()
    Firing.objects.filter(pk=firing.pk).update(state=FiringState.CLOSED)
    page = text_of(tess.get(f"/firings/{firing.pk}/"))
    assert "No cost of it stands in the books" in page
    assert 'href="/books/costs/"' in page


def test_account_page_shows_the_balance_and_leads_to_its_lines(
    books: Books, ada: Client, mara: Client
) -> None:
    closed(books)
    own = text_of(ada.get("/people/accounts/101/"))
    assert "€5.79" in own
    assert 'href="/account/"' in own
    assert f'href="/people/{books.ada.pk}/"' not in own
    managers = text_of(mara.get("/people/accounts/101/"))
    assert 'href="/books/accounts/101/"' in managers
    assert f'href="/people/{books.ada.pk}/"' in managers
    assert 'href="/people/accounts/"' in managers


def test_trail_names_costs_payments_and_months(books: Books, mara: Client) -> None:
    cost = closed(books)
    record_payment(
        by=books.treasurer,
        at=AFTER_MARCH,
        account=books.ada_account,
        amount_minor=200,
        received_on=AFTER_MARCH.date(),
        method="cash",
    )
    close_month(by=books.treasurer, at=AFTER_MARCH, month=MARCH)
    page = text_of(mara.get("/trail/"))
    assert f'<a href="/books/costs/{cost.pk}/">cost of {cost.firing}</a>' in page
    assert '<a href="/books/accounts/101/">payment of account 101 Ada Rowan</a>' in page
    assert "close of March 2026" in page
