"""The studio's settings: opened once with its first manager, edited on screen afterwards."""

from __future__ import annotations

import zoneinfo
from datetime import datetime
from typing import Any

from babel import Locale, UnknownLocaleError
from django.core.exceptions import ValidationError
from django.db import transaction

from studio.actions.accounts import checked_name, lock_studio
from studio.actions.invitations import (
    admit_person,
    checked_email,
    checked_password,
)
from studio.actions.permits import require_role
from studio.actions.trail import record_deed
from studio.calculations.money import minor_digits
from studio.facts import studio_changing
from studio.models import Person, Role, Studio
from studio.refusals import Refusal

EDITABLE = (
    "name",
    "address",
    "contact_email",
    "time_zone",
    "currency",
    "language",
    "length_unit",
    "temperature_unit",
    "invitation_days",
    "pick_up_days",
    "reminder_days",
)
DAYS_MAX = 365
ADDRESS_LENGTH_MAX = 500  # it stands on each statement


def edit_studio(*, by: Person, at: datetime, **settings: Any) -> Studio:
    """Change any of EDITABLE; `studio_changing` lets other apps refuse, such as a new currency."""
    require_role(by, Role.MANAGER)
    with transaction.atomic(durable=True):
        studio = lock_studio()
        _change(studio, settings, by=by, at=at)
    return studio


def open_first_studio(
    *,
    at: datetime,
    studio_name: str,
    manager_name: str,
    email: str,
    password: str,
    time_zone: str = "UTC",
    currency: str = "USD",
) -> Person:
    """Set a real studio up: its name, zone, currency, and the manager who invites the others."""
    email, manager_name = checked_email(email), checked_name(manager_name)
    hashed = checked_password(password, Person(email=email, name=manager_name))
    with transaction.atomic(durable=True):
        studio = lock_studio()
        if Person.objects.exists():
            raise Refusal(
                "studio_open", "This studio has people already: its manager invites the others."
            )
        manager = admit_person(
            email=email,
            name=manager_name,
            hashed_password=hashed,
            roles=[Role.MEMBER, Role.CREW, Role.MANAGER, Role.TREASURER],
            account=None,
            by=None,
            at=at,
        )
        settings = {"name": studio_name, "time_zone": time_zone, "currency": currency}
        _change(studio, settings, by=manager, at=at)
    return manager


def _change(studio: Studio, settings: dict[str, Any], *, by: Person, at: datetime) -> None:
    """Check all settings, tell who listens, write; in the caller's transaction."""
    unknown = sorted(set(settings) - set(EDITABLE))
    if unknown:
        raise Refusal(
            "setting_unknown", f"The studio has no setting called {', '.join(unknown)}.", status=422
        )
    changes = {
        field: (getattr(studio, field), value)
        for field, value in settings.items()
        if getattr(studio, field) != value
    }
    for field, (_old, new) in changes.items():
        setattr(studio, field, new)
    _check(studio)
    studio_changing.send(Studio, studio=studio, changes=changes, by=by, at=at)
    if changes:
        studio.save(update_fields=list(changes))
        record_deed(studio, "settings edited", by=by, at=at, changes=changes)


def _check(studio: Studio) -> None:
    try:
        studio.clean_fields()
    except ValidationError as fault:
        field, messages = next(iter(fault.message_dict.items()))
        raise _unusable(field, f"{field}: {messages[0]}") from None
    if studio.time_zone not in zoneinfo.available_timezones():
        raise _unusable(
            "time_zone",
            f"{studio.time_zone!r} is no time zone. Write it like Europe/London.",
        )
    try:
        minor_digits(studio.currency)
    except ValueError:
        raise _unusable(
            "currency",
            f"{studio.currency!r} is no currency. Write its three letters, such as EUR.",
        ) from None
    try:
        Locale.parse(studio.language.replace("-", "_"))
    except (UnknownLocaleError, ValueError):
        raise _unusable(
            "language", f"{studio.language!r} is no language. Write it like en or en-GB."
        ) from None
    if len(studio.address) > ADDRESS_LENGTH_MAX:
        raise _unusable("address", f"Write the address in {ADDRESS_LENGTH_MAX} letters or fewer.")
    for field in ("invitation_days", "pick_up_days", "reminder_days"):
        if not 1 <= getattr(studio, field) <= DAYS_MAX:
            raise _unusable(field, f"Choose 1 to {DAYS_MAX} days.")


def _unusable(field: str, message: str) -> Refusal:
    return Refusal("setting_unusable", message, field=field, status=422)
