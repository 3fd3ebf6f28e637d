"""What an entry of the trail is about, in words and with the page it stands on.

`studio` keeps the trail of records it knows nothing about; each app names its own.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass

from django.apps import apps
from django.urls import reverse

from studio.models import Account, Person, TrailEntry


@dataclass(frozen=True)
class Subject:
    """A record in words; `address` is empty where it has no page of its own."""

    words: str
    address: str = ""


SubjectNamer = Callable[[Collection[int]], Mapping[int, Subject]]

_namers: dict[str, SubjectNamer] = {}


def register_subjects(kind: str, namer: SubjectNamer) -> None:
    """Name the records of `kind`, a model's name: `namer` gets ids and asks one question."""
    _namers[kind] = namer


def words_of_kind(kind: str) -> str:
    """The name people use for a model, such as "kiln part"."""
    found = (model for model in apps.get_models() if model._meta.model_name == kind)
    return next((str(model._meta.verbose_name) for model in found), kind)


def subjects_of(entries: Iterable[TrailEntry]) -> list[tuple[TrailEntry, Subject]]:
    """Each entry with what it is about; one question for each kind."""
    entries = list(entries)
    ids: dict[str, set[int]] = defaultdict(set)
    for entry in entries:
        ids[entry.subject_kind].add(entry.subject_id)
    named = {kind: _namers[kind](found) for kind, found in ids.items() if kind in _namers}
    kinds = {kind: words_of_kind(kind) for kind in ids}
    return [
        (
            entry,
            named.get(entry.subject_kind, {}).get(entry.subject_id)
            or Subject(f"{kinds[entry.subject_kind]} {entry.subject_id}"),
        )
        for entry in entries
    ]


def people_by_id(ids: Collection[int]) -> Mapping[int, Subject]:
    people = Person.objects.filter(pk__in=ids).values_list("pk", "name")
    return {pk: Subject(name, reverse("studio:person", args=[pk])) for pk, name in people}


def accounts_by_id(ids: Collection[int]) -> Mapping[int, Subject]:
    return {
        account.pk: Subject(f"account {account}", reverse("studio:account", args=[account.number]))
        for account in Account.objects.filter(pk__in=ids)
    }
