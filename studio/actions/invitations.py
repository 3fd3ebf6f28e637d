"""How a person joins: invited by a manager, through a single-use link that expires."""

from __future__ import annotations

import secrets
from collections.abc import Collection
from datetime import datetime, timedelta

from django.contrib.auth.hashers import make_password
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db import transaction
from django.db.models import QuerySet
from django.utils.crypto import salted_hmac

from studio.actions.accounts import (
    check_account_is_open,
    checked_name,
    lock_studio,
    open_account,
)
from studio.actions.outbox import write_notice
from studio.actions.permits import require_role
from studio.actions.tokens import digest_of
from studio.actions.trail import record_deed
from studio.models import Account, Invitation, Person, Role, RoleHolding
from studio.refusals import Refusal


def secret_behind(notice_key: str) -> str:
    """The secret of the link in the invitation letter with this key.

    Derived, so that the outbox holds no way in: who reads the database alone cannot join.
    """
    return salted_hmac("studio.invitation", notice_key, algorithm="sha256").hexdigest()


def invite_person(
    *,
    by: Person,
    at: datetime,
    email: str,
    name: str,
    roles: Collection[Role],
    account: Account | None = None,
) -> tuple[Invitation, str]:
    """Invite somebody; returns the invitation and its link's secret, shown this once.

    Without `account` a new one is opened in their name when they accept. An older invitation to
    the same address that has expired is revoked by the way.
    """
    require_role(by, Role.MANAGER)
    email, name, wanted = checked_email(email), checked_name(name), checked_roles(roles)
    notice_key = f"invited:{secrets.token_hex(16)}"
    secret = secret_behind(notice_key)
    with transaction.atomic(durable=True):
        studio = lock_studio()
        if account is not None:
            account = Account.objects.get(pk=account.pk)
            check_account_is_open(account)
        _check_not_here(email)
        _clear_expired(email, by, at)
        invitation = Invitation.objects.create(
            email=email,
            name=name,
            roles=wanted,
            account=account,
            secret_digest=digest_of(secret),
            invited_by=by,
            invited_at=at,
            expires_at=at + timedelta(days=studio.invitation_days),
        )
        record_deed(invitation, "invited", by=by, at=at, to_state="open", roles=wanted)
        facts = {"invitation": invitation.pk, "name": name, "invited_by": by.name}
        write_notice(key=notice_key, kind="invited", at=at, address=email, facts=facts)
    return invitation, secret


def revoke_invitation(*, by: Person, at: datetime, invitation: Invitation) -> Invitation:
    """Take an invitation back; its link stops working."""
    require_role(by, Role.MANAGER)
    with transaction.atomic(durable=True):
        invitation = Invitation.objects.select_for_update().get(pk=invitation.pk)
        if invitation.accepted_at:
            raise Refusal(
                "invitation_accepted",
                f"{invitation.name} has joined already. To end the sign-in, deactivate the person.",
            )
        if invitation.revoked_at:
            raise Refusal("invitation_revoked", "This invitation is taken back already.")
        _revoke(invitation, "revoked", by, at)
    return invitation


def open_invitation(*, secret: str, at: datetime) -> Invitation:
    """The invitation behind a link, if the link can still be used; else a refusal that says why."""
    return _usable(Invitation.objects.select_related("account", "invited_by"), secret, at)


def accept_invitation(*, secret: str, at: datetime, name: str, password: str) -> Person:
    """Join: make the person, their roles and, when none was named, their account."""
    invitation = open_invitation(secret=secret, at=at)
    name = checked_name(name)
    # before the transaction: hashing a password takes long on purpose, and others would wait
    hashed = checked_password(password, Person(email=invitation.email, name=name))
    with transaction.atomic(durable=True):
        lock_studio()
        invitation = _usable(Invitation.objects.select_for_update(), secret, at)
        _check_not_here(invitation.email)
        person = admit_person(
            email=invitation.email,
            name=name,
            hashed_password=hashed,
            roles=invitation.roles,
            account=invitation.account,
            by=invitation.invited_by,
            at=at,
        )
        invitation.accepted_at, invitation.accepted_by = at, person
        invitation.save(update_fields=["accepted_at", "accepted_by"])
        record_deed(
            invitation, "accepted", by=person, at=at, from_state="open", to_state="accepted"
        )
    return person


def admit_person(
    *,
    email: str,
    name: str,
    hashed_password: str,
    roles: Collection[str],
    account: Account | None,
    by: Person | None,
    at: datetime,
) -> Person:
    """Write a new person with roles and account; inside the transaction of joining."""
    if account is None or account.closed_at:
        account = open_account(name=name, by=by, at=at)
    person = Person.objects.create(
        email=email, name=name, password=hashed_password, account=account, joined_at=at
    )
    RoleHolding.objects.bulk_create(
        RoleHolding(person=person, role=role, granted_at=at, granted_by=by) for role in roles
    )
    record_deed(person, "joined", by=person, at=at, roles=list(roles), account=account.pk)
    return person


def checked_email(email: str) -> str:
    """The address in small letters, if it can be one."""
    email = email.strip().lower()
    try:
        validate_email(email)
    except ValidationError:
        raise Refusal(
            "email_unusable",
            f"{email!r} is not an e-mail address. Write it like name@example.org.",
            field="email",
            status=422,
        ) from None
    return email


def checked_roles(roles: Collection[Role]) -> list[str]:
    """At least one known role, each once, in the order of Role."""
    wanted = {str(role) for role in roles}
    if not wanted or wanted - set(Role.values):
        known = ", ".join(Role.values)
        raise Refusal(
            "roles_unusable", f"Choose one or more of: {known}.", field="roles", status=422
        )
    return [role for role in Role.values if role in wanted]


def checked_password(password: str, person: Person) -> str:
    """The password's hash, if the password is strong enough for `person`."""
    try:
        validate_password(password, person)
    except ValidationError as fault:
        raise Refusal(
            "password_too_weak", " ".join(fault.messages), field="password", status=422
        ) from None
    return make_password(password)


def _check_not_here(email: str) -> None:
    if Person.objects.filter(email__iexact=email).exists():
        raise Refusal(
            "email_taken",
            f"Somebody with the address {email} is here already. They can sign in, or ask for a"
            " new password on the sign-in page.",
            field="email",
        )


def _clear_expired(email: str, by: Person, at: datetime) -> None:
    earlier = Invitation.objects.select_for_update().filter(
        email__iexact=email, accepted_at=None, revoked_at=None
    )
    for invitation in earlier:
        if invitation.state(at) == "open":
            raise Refusal(
                "invitation_open",
                f"{email} has an open invitation until {invitation.expires_at:%-d %B %Y}. Take that"
                " one back first to send another.",
                field="email",
            )
        _revoke(invitation, "expired", by, at)


def _revoke(invitation: Invitation, deed: str, by: Person, at: datetime) -> None:
    invitation.revoked_at = at
    invitation.save(update_fields=["revoked_at"])
    record_deed(invitation, deed, by=by, at=at, from_state="open", to_state="revoked")


def _usable(invitations: QuerySet[Invitation], secret: str, at: datetime) -> Invitation:
    invitation = invitations.filter(secret_digest=digest_of(secret)).first()
    if invitation is None:
        raise Refusal(
            "invitation_unknown",
            "This link does not belong to an invitation. Open it again from the e-mail, whole.",
            status=404,
        )
    state = invitation.state(at)
    if state != "open":
        raise Refusal(f"invitation_{state}", WHY_NOT[state], status=410)
    return invitation


WHY_NOT = {
    "accepted": "This invitation has been used. Sign in with the address it was sent to.",
    "revoked": "This invitation was taken back. Ask the studio's manager for a new one.",
    "expired": "This invitation has expired. Ask the studio's manager for a new one.",
}
