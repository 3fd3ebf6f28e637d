"""The notice that a statement was issued."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from datetime import date, datetime
from itertools import groupby
from operator import itemgetter
from typing import Any

from billing.calculations.payment_references import grouped_reference
from billing.models import statement_path
from studio.actions.many_rows import insert_many
from studio.actions.outbox import message_id_for, nudge_sweep_after_commit
from studio.calculations.money import format_minor
from studio.models import Notice, Person
from studio.notice_kinds import NoticeKind, kind_named, register_kind

STATEMENT = "statement"


def register_notices() -> None:
    register_kind(
        NoticeKind(
            name=STATEMENT,
            label="A statement was issued",
            app_template_prefix="billing",
            context=_statement_words,
        )
    )


def write_statement_notices(contents: Mapping[int, Mapping[str, Any]], at: datetime) -> None:
    """Tell each active person of the accounts, in one go and without a nudge for each row.

    `contents` are the statements' contents by the account's key. A close may tell a thousand
    people: one sweep delivers them, whereas a nudge for each would keep the treasurer waiting on
    the broker.
    """
    kind_named(STATEMENT)
    insert_many(
        Notice,
        ("person_id", "address", "key", "message_id", "facts"),
        _letters(contents),
        {"kind": STATEMENT, "written_at": at, "due_at": at},
    )
    nudge_sweep_after_commit()


def _letters(contents: Mapping[int, Mapping[str, Any]]) -> Iterator[tuple[int | str, ...]]:
    active = Person.objects.active().filter(account__isnull=False).order_by("account", "pk")
    people = active.values_list("account", "pk", "email")
    for account_id, of_account in groupby(people.iterator(), itemgetter(0)):
        if account_id in contents:
            content = contents[account_id]
            facts = json.dumps(_facts(content))
            for _, person_id, email in of_account:
                key = f"statement:{content['number']}:{person_id}"
                yield person_id, email, key, message_id_for(key), facts


def _facts(content: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "number": content["number"],
        "first_day": content["first_day"],
        "due_on": content["due_on"],
        "currency": content["currency"],
        "language": content["language"],
        **content["totals"],
        "reference": content["way_to_pay"]["reference"],
        "path": statement_path(content["number"]),
    }


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
