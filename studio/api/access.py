"""Who may call an endpoint. What a person may do to one record, the actions say."""

from __future__ import annotations

from typing import Any

from rest_framework.permissions import BasePermission
from rest_framework.request import Request

from studio.models import Role


def holds(*roles: Role) -> type[BasePermission]:
    """A permission for people who hold any of `roles`."""
    wanted = " or ".join(role.label.lower() for role in roles)

    class HoldsRole(BasePermission):
        message = f"This needs the role {wanted}. Ask the studio manager for it."

        def has_permission(self, request: Request, view: Any) -> bool:
            return bool(request.user.is_authenticated and request.user.has_role(*roles))

    return HoldsRole
