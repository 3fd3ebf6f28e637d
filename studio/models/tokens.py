"""A secret that a program holds to come in with: what the tokens of people and kilns share."""

from __future__ import annotations

from django.db import models


class Token(models.Model):
    """Only the digest of the secret is kept, so that who reads the database cannot come in."""

    name = models.CharField(max_length=80)
    digest = models.CharField(max_length=64, unique=True)
    created_at = models.DateTimeField()
    last_used_at = models.DateTimeField(null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        abstract = True
        ordering = ["-created_at"]
