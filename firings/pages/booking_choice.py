"""Which queue or announced firing a booking is for: the first step of booking."""

from __future__ import annotations

from dataclasses import dataclass

from django.http import HttpRequest
from django.shortcuts import get_object_or_404

from firings.actions.ware_rules import check_cone
from firings.calculations.cones import CONES
from firings.models import Firing, FiringPolicy, FiringState, Stage
from firings.refusals import WareRefusal


@dataclass(frozen=True)
class BookingChoice:
    """Stage and cone of a booking, and the announced firing it is to go on, if any."""

    stage: str
    cone: str
    firing: Firing | None = None

    @property
    def stage_label(self) -> str:
        return str(Stage(self.stage).label)


@dataclass(frozen=True)
class Queue:
    """A stage with the cones that this studio fires it to."""

    stage: str
    label: str
    lead: str
    cones: tuple[str, ...]
    is_any_cone: bool


def queues_of(policy: FiringPolicy) -> list[Queue]:
    """What the first page offers; every cone where the manager has not chosen a few."""
    wanted = [
        (Stage.BISQUE, "Greenware, bone dry, without glaze.", policy.bisque_cones),
        (Stage.GLAZE, "Bisqued ware with dry glaze and clean feet.", policy.glaze_cones),
    ]
    return [
        Queue(stage.value, str(stage.label), lead, tuple(cones or CONES), not cones)
        for stage, lead, cones in wanted
    ]


def choice_of(request: HttpRequest) -> BookingChoice | None:
    """What the address says; None when nothing is chosen yet, refused when it cannot be."""
    number = request.GET.get("firing", "")
    if number:
        return _on_firing(request, number)
    stage, cone = request.GET.get("stage", ""), request.GET.get("cone", "").strip()
    if stage not in Stage.values or not cone:
        return None
    check_cone(cone, stage, FiringPolicy.current())
    return BookingChoice(stage, cone)


def _on_firing(request: HttpRequest, number: str) -> BookingChoice:
    firings = Firing.objects.exclude(state=FiringState.PLANNED).select_related("kiln")
    pk = int(number[:9]) if number.isascii() and number.isdigit() else 0
    firing = get_object_or_404(firings, pk=pk)
    # A form that is sent keeps its input: there the action itself refuses.
    if firing.state != FiringState.OPEN and request.method != "POST":
        raise WareRefusal(
            "not_taking_bookings",
            f"{firing} takes no more bookings. Choose another one, or put the ware in the queue.",
        )
    return BookingChoice(firing.stage, firing.cone, firing)
