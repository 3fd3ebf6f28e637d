"""What members see of kilns: what goes on now, and the announced firings with their room."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Sum
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render

from firings.actions.kiln_space import space_of
from firings.models import Firing, FiringPolicy, FiringState, Kiln
from firings.pages.booking_rows import own_bookings, ware_rows
from firings.pages.booking_steps import steps_of_firing
from studio.pages.access import signed_in


@dataclass(frozen=True)
class Announced:
    """An announced firing; `taken_percent` of its shelf area is promised, None if unknown."""

    firing: Firing
    taken_percent: int | None


@dataclass(frozen=True)
class KilnNow:
    """A kiln and the firing that has it, if any."""

    kiln: Kiln
    firing: Firing | None


def announced_firings(policy: FiringPolicy) -> list[Announced]:
    """The firings that take bookings, the next one first."""
    firings = (
        Firing.objects.taking_bookings()
        .select_related("kiln")
        .prefetch_related("kiln__shelf_sets")
        .annotate(taken_mm2=Sum("bookings__charged_area_mm2", default=0))
        .order_by("planned_for", "pk")
    )
    return [Announced(firing, _taken_percent(firing, policy)) for firing in firings]


def _taken_percent(firing: Firing, policy: FiringPolicy) -> int | None:
    if not any(shelves.is_standard for shelves in firing.kiln.shelf_sets.all()):
        return None
    stacks = space_of(firing.kiln, policy).stacks
    shelves_mm2 = sum(stack.shelf.area_mm2 * stack.shelves_count for stack in stacks)
    return min(100, round(100 * firing.taken_mm2 / shelves_mm2))  # type: ignore[attr-defined]


def kilns_now() -> list[KilnNow]:
    """Each kiln with what it does now."""
    active = {firing.kiln_id: firing for firing in Firing.objects.taking_the_kiln()}
    return [KilnNow(kiln, active.get(kiln.pk)) for kiln in Kiln.objects.all()]


@signed_in
def coming(request: HttpRequest) -> HttpResponse:
    context = {"announced": announced_firings(FiringPolicy.current()), "kilns": kilns_now()}
    return render(request, "firings/coming.html", context)


@signed_in
def firing_seen(request: HttpRequest, pk: int) -> HttpResponse:
    """A firing as members see it: where it stands, and their own ware in it."""
    firings = Firing.objects.exclude(state=FiringState.PLANNED).select_related("kiln")
    mine = own_bookings(request.user).filter(firing=pk)  # type: ignore[arg-type]
    firing = get_object_or_404(firings, pk=pk)
    context = {"firing": firing, "steps": steps_of_firing(firing), "rows": ware_rows(mine)}
    return render(request, "firings/firing_seen.html", context)
