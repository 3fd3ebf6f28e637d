"""Part of a share is given back."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from billing.models.of_account import OfAccountQuerySet


class Refund(models.Model):
    """Part of what a booking, or one piece of it, was charged is given back for the kiln's fault.

    Final like a payment; one given by mistake is undone by reversing its entry.
    """

    share = models.ForeignKey("billing.Share", on_delete=models.PROTECT, related_name="refunds")
    account = models.ForeignKey("studio.Account", on_delete=models.PROTECT, related_name="refunds")
    piece = models.ForeignKey(
        "firings.Piece", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    amount_minor = models.PositiveBigIntegerField()
    basis_points = models.PositiveIntegerField(null=True, blank=True)
    reason = models.CharField(max_length=150)
    made_by = models.ForeignKey("studio.Person", on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField()
    entry = models.OneToOneField(
        "billing.JournalEntry", on_delete=models.PROTECT, related_name="refund"
    )

    objects = OfAccountQuerySet.as_manager()

    class Meta:
        ordering = ["-made_at", "-pk"]
        constraints = [
            models.CheckConstraint(condition=Q(amount_minor__gt=0), name="refund_is_not_zero"),
            models.CheckConstraint(
                condition=~Q(reason=""),
                name="refund_has_its_reason",
                violation_error_message="Say why it is given back.",
            ),
        ]

    def __str__(self) -> str:
        return f"Refund of slip {self.share.booking.slip}"
