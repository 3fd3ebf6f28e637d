"""How the trail names bookings, firings, kilns, clays, glazes and sizes."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from functools import partial
from typing import Any

from django.urls import reverse

from firings.models import Booking, Clay, Firing, Glaze, Kiln, PieceSize
from studio.pages.subjects import Subject, register_subjects


def register_trail_subjects() -> None:
    register_subjects("booking", _bookings)
    register_subjects("firing", _firings)
    register_subjects("kiln", _kilns)
    for model, page in ((Clay, "clay"), (Glaze, "glaze"), (PieceSize, "size")):
        register_subjects(model._meta.model_name or "", partial(_of_the_palette, model, page))


def _bookings(ids: Collection[int]) -> Mapping[int, Subject]:
    slips = Booking.objects.filter(pk__in=ids).values_list("pk", "slip")
    return {
        pk: Subject(f"slip {slip}", reverse("firings:booking", args=[slip])) for pk, slip in slips
    }


def _firings(ids: Collection[int]) -> Mapping[int, Subject]:
    return {
        firing.pk: Subject(str(firing), reverse("firings:firing", args=[firing.pk]))
        for firing in Firing.objects.filter(pk__in=ids)
    }


def _kilns(ids: Collection[int]) -> Mapping[int, Subject]:
    kilns = Kiln.objects.filter(pk__in=ids).values_list("pk", "name")
    return {pk: Subject(name, reverse("firings:kiln", args=[pk])) for pk, name in kilns}


def _of_the_palette(model: Any, page: str, ids: Collection[int]) -> Mapping[int, Subject]:
    names = model.objects.filter(pk__in=ids).values_list("pk", "name")
    return {
        pk: Subject(f"{page} {name}", reverse(f"firings:{page}", args=[pk])) for pk, name in names
    }
