"""What happens to a person who is here: roles, leaving, coming back, own details.

Rows of people are locked with `no_key`: every trail entry points at a person, and a full lock
would let two people who change each other wait for each other for ever.
"""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime

from django.contrib.auth.hashers import make_password
from django.db import transaction
from django.db.models import F

from studio.actions.accounts import checked_name
from studio.actions.invitations import checked_roles
from studio.actions.permits import require_role
from studio.actions.trail import record_deed
from studio.models import AccessToken, Person, Role, RoleHolding
from studio.refusals import Refusal

LENGTH_UNITS = ("", "cm", "in")
TEMPERATURE_UNITS = ("", "C", "F")


def set_roles(*, by: Person, at: datetime, person: Person, roles: Collection[Role]) -> Person:
    """Let `person` hold exactly `roles`. The last active manager stays one."""
    require_role(by, Role.MANAGER)
    wanted = set(checked_roles(roles))
    with transaction.atomic(durable=True):
        managers = _lock_managers()
        person = Person.objects.select_for_update(no_key=True).get(pk=person.pk)
        if Role.MANAGER not in wanted:
            _check_manager_remains(person, managers)
        held = set(person.role_holdings.values_list("role", flat=True))
        person.role_holdings.exclude(role__in=wanted).delete()
        RoleHolding.objects.bulk_create(
            RoleHolding(person=person, role=role, granted_at=at, granted_by=by)
            for role in sorted(wanted - held)
        )
        person.forget_roles()
        record_deed(person, "roles set", by=by, at=at, old=sorted(held), new=sorted(wanted))
    return person


def deactivate_person(*, by: Person, at: datetime, person: Person, why: str = "") -> Person:
    """End a person's sign-in: sessions, API tokens and notices stop; the history stays."""
    require_role(by, Role.MANAGER)
    with transaction.atomic(durable=True):
        managers = _lock_managers()
        person = Person.objects.select_for_update(no_key=True).get(pk=person.pk)
        if not person.is_active:
            raise Refusal("person_inactive", f"{person.name} is deactivated already.")
        _check_manager_remains(person, managers)
        person.is_active = False
        person.session_round = F("session_round") + 1
        person.save(update_fields=["is_active", "session_round"])
        AccessToken.objects.filter(person=person, revoked_at=None).update(revoked_at=at)
        record_deed(
            person, "deactivated", by=by, at=at, from_state="active", to_state="inactive", why=why
        )
    person.refresh_from_db()
    return person


def reactivate_person(*, by: Person, at: datetime, person: Person) -> Person:
    """Let a person sign in again, with the password and the roles they had; tokens stay revoked."""
    require_role(by, Role.MANAGER)
    with transaction.atomic(durable=True):
        person = Person.objects.select_for_update(no_key=True).get(pk=person.pk)
        if person.is_active:
            raise Refusal("person_active", f"{person.name} is active already.")
        person.is_active = True
        person.save(update_fields=["is_active"])
        record_deed(person, "reactivated", by=by, at=at, from_state="inactive", to_state="active")
    return person


def choose_password(*, by: Person, at: datetime, password: str) -> Person:
    """Set one's own password, changed or forgotten: sessions elsewhere and API tokens end.

    Who has a new password set may fear that somebody else knew the old one, and made a token.
    """
    hashed = make_password(password)  # before the transaction: it takes long on purpose
    with transaction.atomic(durable=True):
        person = Person.objects.select_for_update(no_key=True).get(pk=by.pk)
        person.password = hashed
        person.save(update_fields=["password"])
        AccessToken.objects.filter(person=person, revoked_at=None).update(revoked_at=at)
        record_deed(person, "password chosen", by=by, at=at)
    return person


def edit_own_details(
    *,
    by: Person,
    at: datetime,
    name: str,
    phone: str = "",
    length_unit: str = "",
    temperature_unit: str = "",
) -> Person:
    """Change one's own name, phone and units; an empty unit means the studio's."""
    new = {
        "name": checked_name(name),
        "phone": _checked_phone(phone),
        "length_unit": _one_of(length_unit, LENGTH_UNITS, "length_unit"),
        "temperature_unit": _one_of(temperature_unit, TEMPERATURE_UNITS, "temperature_unit"),
    }
    with transaction.atomic(durable=True):
        person = Person.objects.select_for_update(no_key=True).get(pk=by.pk)
        changed = [field for field, value in new.items() if getattr(person, field) != value]
        for field in changed:
            setattr(person, field, new[field])
        person.save(update_fields=changed)
        if changed:
            record_deed(person, "details edited", by=by, at=at, fields=changed)
    return person


def _lock_managers() -> list[int]:
    """Ids of the active managers; two deeds that remove a manager wait for each other here."""
    holdings = RoleHolding.objects.select_for_update(of=("self",)).filter(
        role=Role.MANAGER, person__is_active=True
    )
    # as rows: PostgreSQL cannot lock what values_list() selects by `of`
    return [holding.person_id for holding in holdings.order_by("pk")]


def _check_manager_remains(person: Person, managers: list[int]) -> None:
    if managers == [person.pk]:
        raise Refusal(
            "last_manager",
            f"{person.name} is the only studio manager. Make somebody else a manager first.",
            field="roles",
        )


def _checked_phone(phone: str) -> str:
    phone = " ".join(phone.split())
    if len(phone) > 40 or not all(sign.isdigit() or sign in "+-()/. " for sign in phone):
        raise Refusal(
            "phone_unusable",
            "Write the phone number in digits, such as +44 20 7946 0000, or leave it empty.",
            field="phone",
            status=422,
        )
    return phone


def _one_of(value: str, choices: tuple[str, ...], field: str) -> str:
    if value not in choices:
        known = ", ".join(choice for choice in choices if choice)
        raise Refusal(
            "unit_unknown",
            f"{value!r} is not a unit here. Choose {known}, or leave it empty for the studio's.",
            field=field,
            status=422,
        )
    return value
