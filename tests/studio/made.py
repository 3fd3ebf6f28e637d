"""People for tests: written straight into the database, so that each test names only its deed."""

from __future__ import annotations

from datetime import UTC, datetime
from itertools import count

from studio.models import Account, Person, Role, RoleHolding

NOW = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)

_numbers = count(1)


def make_account(name: str = "Household") -> Account:
    return Account.objects.create(number=5000 + next(_numbers), name=name, opened_at=NOW)


def make_person(
    *roles: Role, name: str = "Ina Holm", account: Account | None = None, email: str = ""
) -> Person:
    """A person with `roles` (member when none is given) and an account of their own."""
    person = Person.objects.create(
        email=email or f"person{next(_numbers)}@example.org",
        name=name,
        account=account or make_account(name),
        password="!",
        joined_at=NOW,
    )
    RoleHolding.objects.bulk_create(
        RoleHolding(person=person, role=role, granted_at=NOW) for role in roles or (Role.MEMBER,)
    )
    return person


def make_manager(name: str = "Maren Vik") -> Person:
    return make_person(Role.MANAGER, name=name)
