"""March of Ashbank Studio as its pages and API find it on 2 April: one firing, nothing closed."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction
from django.test import Client

from billing.actions.close_month import close_month
from billing.actions.price_firing import post_firing_cost
from billing.models import FiringCost, MonthClose, Statement
from studio.models import Account, Person
from tests.billing.conftest import Books
from tests.billing.scene import AFTER_MARCH, MARCH, NOON


def priced(books: Books, at: datetime = NOON, **fields: object) -> FiringCost:
    """11.58 in all: Ada 3.47 and 2.32, Ben 5.79."""
    with transaction.atomic():
        return post_firing_cost(books.firing(**fields), books.manager, at)


def closed_march(books: Books) -> MonthClose:
    return close_month(by=books.treasurer, at=AFTER_MARCH, month=MARCH)


def statement_of(account: Account) -> Statement:
    return Statement.objects.get(account=account)


def signed_in(person: Person) -> Client:
    client = Client()
    client.force_login(person)
    return client


def text_of(answer: object) -> str:
    return answer.content.decode()
