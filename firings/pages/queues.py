"""What waits to be fired, by stage and cone, and what crew do with it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from urllib.parse import urlencode

from django import forms
from django.core.paginator import Paginator
from django.db.models import Count, Min, Q, Sum
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone

from firings.actions.bookings import decline_booking
from firings.actions.kiln_space import stacks_of, standard_shelves
from firings.actions.ware_rules import can_fire
from firings.calculations.cones import CONES, cone_rank
from firings.models import Booking, DeclineReason, Kiln, Stage
from firings.pages.booking_rows import ware_of
from firings.refusals import WareRefusal
from studio.models import Role
from studio.pages.access import needs
from studio.pages.answers import answer_form
from studio.pages.context import studio_of

SLIPS_ON_A_PAGE = 50


@dataclass(frozen=True)
class KilnLoads:
    """How many times a queue's area goes onto all shelves of a kiln."""

    kiln: Kiln
    loads: float

    @property
    def words(self) -> str:
        shown = round(self.loads, 1)
        if shown == 0:
            return "under 0.1 load"
        return "1 load" if shown == 1 else f"{shown:.1f} loads"


@dataclass(frozen=True)
class Queue:
    """What waits for one stage and cone; areas in mm2."""

    stage: str
    cone: str
    slips: int
    dry_slips: int
    area_mm2: int
    oldest_at: datetime
    kilns: tuple[KilnLoads, ...]

    @property
    def stage_label(self) -> str:
        return str(Stage(self.stage).label)

    @property
    def plan_url(self) -> str:
        wanted = urlencode({"stage": self.stage, "cone": self.cone})
        return f"{reverse('firings:plan_firing')}?{wanted}"


@needs(Role.CREW, Role.MANAGER)
def overview(request: HttpRequest) -> HttpResponse:
    """Every queue in which something waits."""
    return render(request, "firings/queues.html", {"queues": queues_on(_today(request))})


@needs(Role.CREW, Role.MANAGER)
def one_queue(request: HttpRequest, stage: str, cone: str) -> HttpResponse:
    """The slips of one queue, first come first."""
    if stage not in Stage.values or cone not in CONES:
        raise Http404
    today = _today(request)
    waiting = (
        Booking.objects.in_queue(stage, cone)
        .select_related("member", "clay", "forecast")
        .annotate(pieces_count=Count("pieces"))
    )
    found = queues_on(today, stage, cone)
    context = {
        "stage": Stage(stage).label,
        "cone": cone,
        "queue": found[0] if found else None,
        "page": Paginator(waiting, SLIPS_ON_A_PAGE).get_page(request.GET.get("page")),
        "today": today,
    }
    return render(request, "firings/queue.html", context)


def queues_on(today: date, stage: str = "", cone: str = "") -> list[Queue]:
    """The queues with something in them, in the order in which they are fired."""
    waiting = Booking.objects.waiting().filter(firing=None)
    if stage:
        waiting = waiting.filter(stage=stage, cone=cone)
    rows = list(
        waiting.values("stage", "cone")
        .order_by()
        .annotate(
            slips=Count("pk"),
            dry_slips=Count("pk", filter=Q(dry_on__lte=today)),
            area_mm2=Sum("charged_area_mm2"),
            oldest_at=Min("booked_at"),
        )
    )
    rows.sort(key=lambda row: (row["stage"], cone_rank(row["cone"])))
    kilns = list(Kiln.objects.prefetch_related("shelf_sets"))
    return [Queue(**row, kilns=_loads(kilns, row["cone"], row["area_mm2"])) for row in rows]


def _loads(kilns: list[Kiln], cone: str, area_mm2: int) -> tuple[KilnLoads, ...]:
    able = [kiln for kiln in kilns if can_fire(kiln, cone)]
    return tuple(
        KilnLoads(kiln, area_mm2 / shelves_mm2) for kiln in able if (shelves_mm2 := _shelves(kiln))
    )


def _shelves(kiln: Kiln) -> int:
    """The surface of all standard shelves of a kiln; 0 when it has none."""
    try:
        stacks = stacks_of(standard_shelves(kiln), kiln.post_width_mm)
    except WareRefusal:
        return 0
    return sum(stack.shelf.area_mm2 * stack.shelves_count for stack in stacks)


class DeclineForm(forms.Form):
    reason = forms.ChoiceField(label="Why", choices=DeclineReason.choices, widget=forms.RadioSelect)
    note = forms.CharField(
        label="For the member",
        required=False,
        max_length=300,
        widget=forms.Textarea({"rows": 3}),
        help_text="What is wrong, and what would put it right. The member reads this.",
    )


@needs(Role.CREW, Role.MANAGER)
def decline(request: HttpRequest, slip: str) -> HttpResponse:
    """Turn ware away, with a reason that its member is told."""
    found = Booking.objects.select_related("member", "clay").prefetch_related("pieces", "glazes")
    booking = get_object_or_404(found, slip=slip)
    queue_url = reverse("firings:one_queue", args=[booking.stage, booking.cone])
    return answer_form(
        request,
        DeclineForm,
        "firings/decline.html",
        lambda cleaned: decline_booking(
            booking=booking, by=request.user, at=timezone.now(), **cleaned
        ),
        context={"booking": booking, "ware": ware_of(booking), "queue_url": queue_url},
        done=f"Slip {booking.slip} is declined. {booking.member} is told why.",
        then=queue_url,
    )


def _today(request: HttpRequest) -> date:
    return timezone.now().astimezone(studio_of(request).zone).date()
