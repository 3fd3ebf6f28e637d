"""Billing accounts: open one, rename it, move a person to another."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction
from django.db.models import Max

from studio.actions.permits import require_role
from studio.actions.trail import record_deed
from studio.models import Account, Person, Role, Studio
from studio.refusals import Refusal

FIRST_NUMBER = 1001


def lock_studio() -> Studio:
    """Hold the studio's row until the transaction ends: numbers and the list of people wait."""
    Studio.current()
    return Studio.objects.select_for_update().get(pk=1)


def open_account(*, name: str, by: Person | None, at: datetime) -> Account:
    """Open the account with the next number; inside the transaction of the deed that needs it."""
    lock_studio()
    highest = Account.objects.aggregate(highest=Max("number"))["highest"]
    number = FIRST_NUMBER if highest is None else highest + 1
    account = Account.objects.create(number=number, name=name, opened_at=at)
    record_deed(account, "opened", by=by, at=at, name=name)
    return account


def check_account_is_open(account: Account) -> None:
    if account.closed_at is not None:
        raise Refusal(
            "account_closed",
            f"Account {account} is closed. Choose another account, or open a new one.",
            field="account",
        )


def rename_account(*, by: Person, at: datetime, account: Account, name: str) -> Account:
    """Give an account another name; its number stays."""
    require_role(by, Role.MANAGER, Role.TREASURER)
    name = checked_name(name)
    with transaction.atomic(durable=True):
        account = Account.objects.select_for_update(no_key=True).get(pk=account.pk)
        old, account.name = account.name, name
        account.save(update_fields=["name"])
        record_deed(account, "renamed", by=by, at=at, old=old, new=name)
    return account


def move_to_account(*, by: Person, at: datetime, person: Person, account: Account | None) -> Person:
    """Let `person` be charged on `account` from now on; None opens a new one in their name.

    What was charged before stays where it was charged.
    """
    require_role(by, Role.MANAGER)
    with transaction.atomic(durable=True):
        lock_studio()
        person = Person.objects.select_for_update(no_key=True).get(pk=person.pk)
        if account is None:
            account = open_account(name=person.name, by=by, at=at)
        account = Account.objects.select_for_update(no_key=True).get(pk=account.pk)
        check_account_is_open(account)
        if account.pk == person.account_id:
            raise Refusal(
                "account_is_theirs",
                f"{person.name} is on account {account} already.",
                field="account",
            )
        old_id, person.account = person.account_id, account
        person.save(update_fields=["account"])
        record_deed(
            person, "moved to account", by=by, at=at, old_account=old_id, new_account=account.pk
        )
    return person


def checked_name(name: str) -> str:
    """A name with single spaces, 1 to 120 characters."""
    name = " ".join(name.split())
    if not name or len(name) > 120 or not name.isprintable():
        raise Refusal(
            "name_unusable", "Write a name of 1 to 120 characters.", field="name", status=422
        )
    return name
