from studio.models.notices import MailboxMessage, Notice, NoticeState
from studio.models.people import AccessToken, Account, Invitation, Person, Role, RoleHolding
from studio.models.settings_of_studio import Studio
from studio.models.single_row import SingleRow
from studio.models.tokens import Token
from studio.models.trail import TrailEntry

__all__ = [
    "AccessToken",
    "Account",
    "Invitation",
    "MailboxMessage",
    "Notice",
    "NoticeState",
    "Person",
    "Role",
    "RoleHolding",
    "SingleRow",
    "Studio",
    "Token",
    "TrailEntry",
]
