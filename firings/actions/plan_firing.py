"""A firing before it is hot: planned, announced, loading, cancelled."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

from django.db import transaction

from firings.actions.bookings import change_state
from firings.actions.heat_words import heat_words
from firings.actions.kiln_state import held_kiln
from firings.actions.ware_rules import check_cone
from firings.calculations.cones import cone_rank
from firings.models import (
    Booking,
    BookingState,
    CareKind,
    Firing,
    FiringPolicy,
    FiringState,
    Kiln,
    KilnState,
    Placement,
)
from firings.refusals import WareRefusal
from studio.actions.outbox import write_notice
from studio.actions.permits import require_role
from studio.actions.trail import record_deed
from studio.models import Person, Role

# To oxidise new elements and dry the bricks. Common practice, no source; the maker says how.
FIRST_FIRING_CONE = "04"
PLAN_AHEAD_DAYS = 365
# Large kilns need two days to cool. Common practice, no source.
STAYS_HOT_AT_MOST = timedelta(days=2)


def plan_firing(
    *,
    by: Person,
    at: datetime,
    kiln: Kiln,
    stage: str,
    cone: str,
    planned_for: datetime,
    schedule: Sequence[dict[str, float]] = (),
    is_empty_first_firing: bool = False,
    note: str = "",
) -> Firing:
    """Put a firing on the calendar. `schedule` is for reading: ramps with rate, target and hold."""
    require_role(by, Role.CREW, Role.MANAGER)
    if planned_for < at - timedelta(days=1):
        raise WareRefusal(
            "planned_in_the_past", "A firing is planned for now or later.", field="planned_for"
        )
    if planned_for > at + timedelta(days=PLAN_AHEAD_DAYS):
        raise WareRefusal("planned_too_far", "Plan at most a year ahead.", field="planned_for")
    if is_empty_first_firing:
        stage, cone = "bisque", FIRST_FIRING_CONE
    else:
        check_cone(cone, stage, FiringPolicy.current())
    check_kiln_reaches(kiln, cone)
    with transaction.atomic(durable=True):
        firing = Firing.objects.create(
            kiln=kiln,
            stage=stage,
            cone=cone,
            planned_for=planned_for,
            schedule=list(schedule),
            is_empty_first_firing=is_empty_first_firing,
            note=note,
            planned_by=by,
        )
        record_deed(firing, "planned", by=by, at=at, to_state=firing.state)
    return firing


def announce_firing(*, by: Person, at: datetime, firing: Firing) -> Firing:
    """Let members book space on a planned firing."""
    require_role(by, Role.CREW, Role.MANAGER)
    with transaction.atomic(durable=True):
        firing = locked_firing(firing)
        require_state(firing, FiringState.PLANNED)
        if firing.is_empty_first_firing:
            raise WareRefusal("fires_empty", "A first firing runs empty and takes no ware.")
        change_firing_state(firing, FiringState.OPEN, deed="announced", by=by, at=at)
        firing.save(update_fields=["state"])
    return firing


def begin_loading(*, by: Person, at: datetime, firing: Firing) -> Firing:
    """Take the kiln for this firing. Bookings close; what was promised space is in the load."""
    require_role(by, Role.CREW)
    with transaction.atomic(durable=True):
        kiln = held_kiln(firing.kiln_id)
        firing = locked_firing(firing)
        require_state(firing, FiringState.PLANNED, FiringState.OPEN)
        check_kiln_may_fire(kiln, firing)
        taken = Firing.objects.taking_the_kiln().filter(kiln=kiln).first()
        if taken:
            raise WareRefusal(
                "kiln_is_taken",
                f"{kiln} is taken by {taken}, which is {taken.get_state_display().lower()}.",
            )
        _check_is_cold(kiln, by, at)
        _check_is_emptied(kiln)
        change_firing_state(firing, FiringState.LOADING, deed="loading", by=by, at=at)
        firing.save(update_fields=["state"])
    return firing


def _check_is_emptied(kiln: Kiln) -> None:
    """What the last firing left in the kiln is put on the pick-up shelf first."""
    left = Booking.objects.filter(
        firing__kiln=kiln, firing__state=FiringState.OPENED, state=BookingState.FIRED
    )
    slips = list(left.order_by("pk").values_list("slip", flat=True))
    if slips:
        raise WareRefusal(
            "kiln_not_emptied",
            f"{kiln} still holds ware of its last firing: {', '.join(slips)}. Unload it first.",
            slips=slips,
        )


def _check_is_cold(kiln: Kiln, by: Person, at: datetime) -> None:
    """A firing that was broken off leaves its kiln hot, and nobody has opened it by the rules.

    After a fault of the kiln a manager has returned it to service: that says enough.
    """
    limit_c = FiringPolicy.current().opening_limit_c
    broken_off = (
        Firing.objects.filter(
            kiln=kiln,
            state=FiringState.ABORTED,
            is_kiln_fault=False,
            closed_at__gt=at - STAYS_HOT_AT_MOST,
            log_last_c__gt=limit_c,
        )
        .order_by("-closed_at")
        .first()
    )
    if broken_off:
        raise WareRefusal(
            "kiln_is_hot",
            f"{kiln} was last measured at {heat_words(broken_off.log_last_c or 0.0, by)}, in "
            f"{broken_off}, which was broken off; kilns are opened at "
            f"{heat_words(limit_c, by)} or below. Measure it, and type the reading on the page of "
            "that firing.",
            temp_c=broken_off.log_last_c,
            limit_c=limit_c,
        )


def cancel_firing(*, by: Person, at: datetime, firing: Firing, reason: str) -> Firing:
    """Call a firing off before it starts. Its ware waits in the queue again; members are told."""
    require_role(by, Role.CREW, Role.MANAGER)
    if not reason.strip():
        raise WareRefusal("reason_missing", "Say why the firing is cancelled.", field="reason")
    with transaction.atomic(durable=True):
        firing = locked_firing(firing)
        require_state(firing, FiringState.PLANNED, FiringState.OPEN, FiringState.LOADING)
        for booking in release_ware(firing, deed="firing cancelled", by=by, at=at):
            write_notice(
                key=f"cancelled:{firing.pk}:{booking.member_id}",
                kind="cancelled",
                person=booking.member,
                at=at,
                facts={"firing": firing.pk, "reason": reason},
            )
        change_firing_state(
            firing, FiringState.CANCELLED, deed="cancelled", by=by, at=at, why=reason
        )
        firing.save(update_fields=["state"])
    return firing


def release_ware(firing: Firing, *, deed: str, by: Person | None, at: datetime) -> list[Booking]:
    """Send all ware of a firing back to the queue; for the actions that end it early."""
    Placement.objects.filter(layer__firing=firing).delete()
    firing.layers.all().delete()
    released = list(firing.bookings.select_related("member").select_for_update(of=("self",)))
    for booking in released:
        change_state(booking, BookingState.WAITING, deed=deed, by=by, at=at)
        booking.firing, booking.is_promised = None, False
        booking.save(update_fields=["state", "firing", "is_promised"])
    return released


def locked_firing(firing: Firing) -> Firing:
    """The firing's row as it is now, held until the transaction ends."""
    return Firing.objects.select_for_update(of=("self",)).select_related("kiln").get(pk=firing.pk)


def require_state(firing: Firing, *states: FiringState) -> None:
    if firing.state not in states:
        wanted = " or ".join(state.label.lower() for state in states)
        raise WareRefusal(
            "wrong_state",
            f"{firing} is {firing.get_state_display().lower()}; for this it must be {wanted}.",
            state=firing.state,
        )


def change_firing_state(
    firing: Firing, state: FiringState, *, deed: str, by: Person | None, at: datetime, why: str = ""
) -> None:
    """Assign the state and write the trail; the caller has checked and saves."""
    record_deed(firing, deed, by=by, at=at, from_state=firing.state, to_state=state.value, why=why)
    firing.state = state


def check_kiln_reaches(kiln: Kiln, cone: str) -> None:
    if cone_rank(cone) > cone_rank(kiln.cone_limit):
        raise WareRefusal(
            "above_cone_limit",
            f"{kiln} may be fired to cone {kiln.cone_limit} at most, not to cone {cone}.",
            field="cone",
            cone_limit=kiln.cone_limit,
        )


def check_kiln_may_fire(kiln: Kiln, firing: Firing) -> None:
    """The kiln's own state: in use, and past its empty first firing unless this is it."""
    check_kiln_reaches(kiln, firing.cone)
    if kiln.state == KilnState.OUT_OF_SERVICE:
        raise WareRefusal("kiln_out_of_service", f"{kiln} is out of service.")
    if kiln.state == KilnState.FIRST_FIRING_DUE and not firing.is_empty_first_firing:
        raise WareRefusal(
            "first_firing_due",
            f"{kiln} must first run empty to cone {FIRST_FIRING_CONE} with a witness cone. "
            f"Plan that firing ({CareKind.FIRST_FIRING.label.lower()}).",
        )
