"""How the trail names bookings, firings and kilns."""

from __future__ import annotations

from collections.abc import Collection, Mapping

from django.urls import reverse

from firings.models import Booking, Firing, Kiln
from studio.pages.subjects import Subject, register_subjects


def register_trail_subjects() -> None:
    register_subjects("booking", _bookings)
    register_subjects("firing", _firings)
    register_subjects("kiln", _kilns)


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
