"""Which records of a billing account a person may read."""

from __future__ import annotations

from typing import Any, Self

from django.db import models

from studio.models import Person, Role


class OfAccountQuerySet(models.QuerySet[Any]):
    """Records with an `account`: statements, shares, payments."""

    def seen_by(self, person: Person) -> Self:
        """All for those who keep the books or the list of people; the own account's for others."""
        if person.has_role(Role.TREASURER, Role.MANAGER):
            return self
        return self.filter(account=person.account_id)
