"""Who may do what: asked first by every action."""

from __future__ import annotations

from studio.models import Person, Role
from studio.refusals import Denied


def require_role(by: Person | None, *roles: Role) -> None:
    """Refuse unless `by` holds one of `roles`. Nobody (`None`) is the house itself, and may."""
    if by is None or by.has_role(*roles):
        return
    wanted = " or ".join(role.label.lower() for role in roles)
    raise Denied("role_missing", f"This needs the role {wanted}. Ask the studio manager for it.")
