"""What the bank says happened: files taken in, and what became of each of their lines."""

from __future__ import annotations

from django.db import models
from django.db.models import Q


class BankFileKind(models.TextChoices):
    CAMT053 = "camt053", "camt.053"
    CSV = "csv", "CSV"


class BankFile(models.Model):
    """A file of the bank, known by the hash of its content: the same one is taken in once."""

    name = models.CharField(max_length=120)
    kind = models.CharField(max_length=7, choices=BankFileKind)
    content_hash = models.CharField(max_length=64, unique=True)
    bank_accounts = models.JSONField(default=list)
    warnings = models.JSONField(default=list)
    lines_known_count = models.PositiveIntegerField(default=0)
    taken_in_by = models.ForeignKey("studio.Person", on_delete=models.PROTECT, related_name="+")
    taken_in_at = models.DateTimeField()

    class Meta:
        ordering = ["-taken_in_at", "-pk"]

    def __str__(self) -> str:
        return self.name


class BankLineState(models.TextChoices):
    PROPOSED = "proposed", "Waits"
    TAKEN = "taken", "Taken as a payment"
    SET_ASIDE = "set_aside", "Set aside"


class BankLineQuerySet(models.QuerySet["BankLine"]):
    def waiting(self) -> BankLineQuerySet:
        """Nobody has dealt with them yet; the oldest first."""
        return self.filter(state=BankLineState.PROPOSED).order_by("booked_on", "pk")


class BankLine(models.Model):
    """One booked movement of the studio's bank account; positive is money that came in.

    `times_taken` counts how often it became a payment: a line is taken again only after its
    payment was reversed and the line brought back.
    """

    file = models.ForeignKey(BankFile, on_delete=models.PROTECT, related_name="lines")
    line = models.PositiveIntegerField()
    booked_on = models.DateField()
    amount_minor = models.BigIntegerField()
    reference = models.CharField(max_length=80, blank=True)
    text = models.CharField(max_length=500, blank=True)
    counterparty = models.CharField(max_length=140, blank=True)
    bank_id = models.CharField(max_length=64, unique=True)
    state = models.CharField(
        max_length=9, choices=BankLineState, default=BankLineState.PROPOSED, db_index=True
    )
    payment = models.OneToOneField(
        "billing.Payment",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="bank_line",
    )
    times_taken = models.PositiveSmallIntegerField(default=0)
    reason = models.CharField(max_length=500, blank=True)

    objects = BankLineQuerySet.as_manager()

    class Meta:
        ordering = ["-booked_on", "-pk"]
        constraints = [
            models.CheckConstraint(condition=~Q(amount_minor=0), name="bank_line_moves_something"),
            models.CheckConstraint(
                condition=Q(state=BankLineState.TAKEN, payment__isnull=False)
                | (~Q(state=BankLineState.TAKEN) & Q(payment__isnull=True)),
                name="taken_bank_line_has_its_payment",
                violation_error_message="A line is taken exactly when it has a payment.",
            ),
            models.CheckConstraint(
                condition=~Q(state=BankLineState.SET_ASIDE) | ~Q(reason=""),
                name="set_aside_bank_line_has_its_reason",
                violation_error_message="Say why a line of the bank is set aside.",
            ),
        ]

    def __str__(self) -> str:
        who = self.counterparty or self.text or "the bank"
        return f"the bank's line of {self.booked_on.day} {self.booked_on:%B %Y} from {who[:60]}"

    @property
    def fate(self) -> str:
        """The word for what became of it; a payment that was reversed can be brought back."""
        entry = None if self.payment is None else self.payment.entry
        return "reversed" if getattr(entry, "reversed_by", None) else str(self.state)

    @property
    def can_come_back(self) -> bool:
        return self.fate in (BankLineState.SET_ASIDE, "reversed")
