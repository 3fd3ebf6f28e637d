"""Topics on which a kiln's meters publish: set by managers, heard by the listener."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from django.db import transaction

from firings.actions.kiln_state import held_kiln
from firings.calculations.published_readings import FieldPath, MessageMapping
from firings.models import Kiln, KilnTopic
from firings.refusals import WareRefusal
from studio.actions.permits import require_role
from studio.actions.trail import record_deed
from studio.models import Person, Role


def set_kiln_topic(
    *,
    by: Person,
    at: datetime,
    kiln: Kiln,
    topic: str,
    fields: Sequence[tuple[str, str, str]],
    time_path: str = "",
    time_unit: str = "iso",
) -> KilnTopic:
    """Let the listener take readings of a kiln from a topic, or change how they are read.

    `fields`: (field of a reading, path in the message, unit). A topic speaks of one kiln only.
    """
    require_role(by, Role.MANAGER)
    _check_topic(topic)
    try:
        MessageMapping(tuple(FieldPath(*one) for one in fields), time_path, time_unit)
    except ValueError as error:
        raise WareRefusal("mapping_impossible", f"{error}.", field="fields", status=400) from error
    with transaction.atomic(durable=True):
        kiln = held_kiln(kiln.pk)
        other = KilnTopic.objects.exclude(kiln=kiln).filter(topic=topic).first()
        if other:
            raise WareRefusal(
                "topic_taken", f"The topic {topic} speaks of {other.kiln} already.", field="topic"
            )
        written = {
            "fields": [list(one) for one in fields],
            "time_path": time_path,
            "time_unit": time_unit,
            "last_fault": "",
            "last_fault_at": None,
        }
        kept, is_new = KilnTopic.objects.update_or_create(kiln=kiln, topic=topic, defaults=written)
        record_deed(kiln, "topic added" if is_new else "topic changed", by=by, at=at, topic=topic)
    return kept


def drop_kiln_topic(*, by: Person, at: datetime, kiln_topic: KilnTopic) -> Kiln:
    """The listener takes no more readings from this topic; those it took stay."""
    require_role(by, Role.MANAGER)
    with transaction.atomic(durable=True):
        kiln = held_kiln(kiln_topic.kiln_id)
        KilnTopic.objects.filter(pk=kiln_topic.pk).delete()
        record_deed(kiln, "topic dropped", by=by, at=at, topic=kiln_topic.topic)
    return kiln


def note_heard(*, at: datetime, topic: str, fault: str = "") -> None:
    """Write down that a topic was heard, and what of it could not be read."""
    heard = KilnTopic.objects.filter(topic=topic)
    if fault:
        heard.update(last_heard_at=at, last_fault=fault[:200], last_fault_at=at)
    else:
        heard.update(last_heard_at=at)


def _check_topic(topic: str) -> None:
    # MQTT 3.1.1, 4.7: + and # stand for many topics, which could speak of many kilns
    if not topic.strip() or set(topic) & {"+", "#", "\0"} or topic.startswith("$"):
        raise WareRefusal(
            "topic_impossible",
            "Write the whole topic, such as studio/kiln-1/readings, without + and #.",
            field="topic",
            status=400,
        )
