"""Which charges a balance still consists of, when payments settle the oldest first."""

from collections.abc import Sequence
from datetime import date

from billing.calculations.statements import OpenItem


def open_items(balance_minor: int, charges: Sequence[OpenItem], today: date) -> list[OpenItem]:
    """Split what is owed into the newest charges; the rest of a charge that is part paid.

    `charges` are all charges with their due days. Payments and credits settle the oldest first
    (common practice, no source), so what is open is the newest. A balance in credit, and a
    remainder that no charge explains, stand at `today`. The items sum to `balance_minor`.
    """
    if balance_minor <= 0:
        return [OpenItem(today, balance_minor)] if balance_minor else []
    items: list[OpenItem] = []
    left_minor = balance_minor
    for charge in sorted(charges, key=lambda charge: charge.due_on, reverse=True):
        part_minor = min(charge.amount_minor, left_minor)
        if part_minor > 0:
            items.append(OpenItem(charge.due_on, part_minor))
            left_minor -= part_minor
    return [*items, OpenItem(today, left_minor)] if left_minor else items
