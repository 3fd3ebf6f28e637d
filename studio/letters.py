"""The kinds of notice the studio itself sends."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from studio.actions.invitations import secret_behind
from studio.actions.tokens import digest_of
from studio.models import Invitation, Notice
from studio.notice_kinds import NoticeKind, register_kind


def register_studio_kinds() -> None:
    register_kind(
        NoticeKind(
            name="invited",
            label="Invitation to join",
            app_template_prefix="studio",
            still_true=_can_still_be_accepted,
            context=_invitation_context,
        )
    )


def _invitation_of(notice: Notice) -> Invitation | None:
    """The invitation, if it is open when its letter is due."""
    return (
        Invitation.objects.open(notice.due_at)
        .select_related("invited_by")
        .filter(pk=notice.facts["invitation"])
        .first()
    )


def _can_still_be_accepted(notice: Notice) -> bool:
    """Open, and the link we would write opens it (not so after a change of SECRET_KEY)."""
    invitation = _invitation_of(notice)
    return invitation is not None and invitation.secret_digest == digest_of(
        secret_behind(notice.key)
    )


def _invitation_context(notice: Notice) -> Mapping[str, Any]:
    return {"invitation": _invitation_of(notice), "secret": secret_behind(notice.key)}
