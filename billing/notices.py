"""The notice that a statement was issued."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any

from billing.calculations.payment_references import grouped_reference
from billing.models import Statement
from studio.actions.outbox import message_id_for, nudge_sweep_after_commit
from studio.calculations.money import format_minor
from studio.models import Notice, Person
from studio.notice_kinds import NoticeKind, kind_named, register_kind

STATEMENT = "statement"
BATCH = 500


def register_notices() -> None:
    register_kind(
        NoticeKind(
            name=STATEMENT,
            label="A statement was issued",
            app_template_prefix="billing",
            context=_statement_words,
        )
    )


def write_statement_notices(statements: Sequence[Statement], at: datetime) -> None:
    """Tell each active person of the accounts, in one go and without a nudge for each row.

    A close may tell a thousand people: one sweep delivers them, whereas a nudge for each would
    keep the treasurer waiting on the broker.
    """
    kind_named(STATEMENT)
    people: dict[int | None, list[tuple[int, str]]] = defaultdict(list)
    active = Person.objects.active().filter(account__isnull=False)
    for account_id, pk, email in active.values_list("account", "pk", "email"):
        people[account_id].append((pk, email))
    notices = [
        _notice(statement, pk, email, at)
        for statement in statements
        for pk, email in people[statement.account_id]
    ]
    Notice.objects.bulk_create(notices, batch_size=BATCH)
    nudge_sweep_after_commit()


def _notice(statement: Statement, person_id: int, email: str, at: datetime) -> Notice:
    key = f"statement:{statement.number}:{person_id}"
    return Notice(
        key=key,
        kind=STATEMENT,
        person_id=person_id,
        address=email,
        facts={
            "number": statement.number,
            "first_day": statement.content["first_day"],
            "due_on": statement.due_on.isoformat(),
            "currency": statement.content["currency"],
            "language": statement.content["language"],
            "opening_minor": statement.opening_minor,
            "charges_minor": statement.charges_minor,
            "credits_minor": statement.credits_minor,
            "payments_minor": statement.payments_minor,
            "closing_minor": statement.closing_minor,
            "reference": statement.content["way_to_pay"]["reference"],
            "path": statement.get_absolute_url(),
        },
        written_at=at,
        due_at=at,
        message_id=message_id_for(key),
    )


def _statement_words(notice: Notice) -> Mapping[str, Any]:
    """The amounts and days of the letter, in the studio's currency and language."""
    facts = notice.facts
    amounts = {
        name: format_minor(abs(facts[f"{name}_minor"]), facts["currency"], facts["language"])
        for name in ("opening", "charges", "credits", "payments", "closing")
    }
    return {
        **amounts,
        "reference": grouped_reference(facts.get("reference", "")),
        "month": date.fromisoformat(facts["first_day"]),
        "due_on": date.fromisoformat(facts["due_on"]),
        "is_owed": facts["closing_minor"] > 0,
        "is_in_credit": facts["closing_minor"] < 0,
        "opens_in_credit": facts["opening_minor"] < 0,
    }
