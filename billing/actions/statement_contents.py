"""What each statement of a month says for good: numbered, and as the text that its hash is of."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Any

from django.db.models import Max

from billing.actions.statement_drafts import Draft
from billing.calculations.payment_references import reference_of
from billing.calculations.wall_clock import next_month
from billing.calculations.way_to_pay import WayToPay
from billing.models import BillingPolicy, Statement
from studio.models import Studio

Content = Mapping[str, Any]

# One encoder for all: `json.dumps` makes one for each call.
_CANONICAL = json.JSONEncoder(sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def statement_contents(
    drafts: Sequence[Draft], month: date, policy: BillingPolicy, at: datetime
) -> dict[int, Content]:
    """The content of each draft's statement by the account's key, numbered from the next on."""
    last_number = Statement.objects.aggregate(number=Max("number"))["number"] or 0
    studio = Studio.current()
    same = _same_in_all(month, policy, studio, at)
    return {
        draft.account.pk: {**same, **_own(draft, number, policy, studio)}
        for number, draft in enumerate(drafts, start=last_number + 1)
    }


def canonical_text(content: Content) -> str:
    """A content as JSON with sorted keys and no blanks: the same for the same content."""
    return _CANONICAL.encode(content)


def hash_of(text: str) -> str:
    """SHA-256 of a canonical text, as hex."""
    return hashlib.sha256(text.encode()).hexdigest()


def _same_in_all(
    month: date, policy: BillingPolicy, studio: Studio, at: datetime
) -> dict[str, Any]:
    issued_on = at.astimezone(studio.zone).date()
    return {
        "studio": {
            "name": studio.name,
            "address": studio.address,
            "contact_email": studio.contact_email,
        },
        "first_day": month.isoformat(),
        "last_day": (next_month(month) - timedelta(days=1)).isoformat(),
        "issued_on": issued_on.isoformat(),
        "issued_at": at.isoformat(),
        "due_on": (issued_on + timedelta(days=policy.payment_days)).isoformat(),
        "currency": studio.currency,
        "language": studio.language,
        "length_unit": studio.length_unit,
        "how_to_pay": policy.how_to_pay,
    }


def _own(draft: Draft, number: int, policy: BillingPolicy, studio: Studio) -> dict[str, Any]:
    way_to_pay = WayToPay(
        payee_name=policy.payee_name,
        iban=policy.iban,
        bic=policy.bic,
        reference=reference_of(draft.account.number),
        amount_minor=max(draft.totals.closing_minor, 0),
        currency=studio.currency,
    )
    return {
        "number": number,
        "account": {"number": draft.account.number, "name": draft.account.name},
        "lines": draft.lines,
        "totals": vars(draft.totals),
        "way_to_pay": vars(way_to_pay),
    }
