"""A table of one row: settings that a person edits on screen."""

from __future__ import annotations

from typing import Self

from django.db import models


class SingleRow(models.Model):
    """Each such table has a check that its key is 1."""

    class Meta:
        abstract = True

    @classmethod
    def current(cls) -> Self:
        """The row, made with its defaults the first time it is asked for."""
        return cls.objects.get_or_create(pk=1)[0]  # type: ignore[attr-defined]
