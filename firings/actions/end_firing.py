"""A firing ends: closed once its ware is settled and its energy known, or broken off."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction

from firings.actions.alarms import clear_alarms
from firings.actions.cooling_habits import learn_cooling_of
from firings.actions.firing_health import keep_health_of, power_factor_of
from firings.actions.kiln_state import change_kiln_state, held_kiln
from firings.actions.meter_files import intervals_of
from firings.actions.plan_firing import (
    change_firing_state,
    locked_firing,
    release_ware,
    require_state,
)
from firings.actions.readings import moments_of
from firings.calculations.cones import CONES
from firings.calculations.energy import MEASURED_SOURCES, EnergyEstimate
from firings.calculations.energy_profile import energy_profile
from firings.calculations.energy_reconciled import FiringMeters, best_energy
from firings.calculations.readings import Reading as Moment
from firings.calculations.watch_signs import WHILE_HEATING
from firings.facts import firing_aborted, firing_closed
from firings.models import (
    AlarmKind,
    BookingState,
    CareKind,
    CareTask,
    Firing,
    FiringState,
    Kiln,
    KilnState,
    Result,
)
from firings.refusals import WareRefusal
from studio.actions.outbox import write_notice
from studio.actions.permits import require_role
from studio.models import Person, Role

ENERGY_WH_MAX = 5_000_000


def close_firing(
    *,
    by: Person,
    at: datetime,
    firing: Firing,
    result: str,
    reached_cone: str = "",
    register_start_wh: int | None = None,
    register_end_wh: int | None = None,
    is_kiln_fault: bool = False,
) -> Firing:
    """Close an opened firing. Announces `firing_closed`; if its cost is refused, so is this.

    Energy comes from the most trusted source there is: registers, power samples, duty, history.
    `is_kiln_fault` says that the kiln itself spoiled the firing: then the studio carries the cost.
    """
    require_role(by, Role.CREW)
    if result not in Result.values:
        raise WareRefusal("unknown_result", "Say how the firing came out.", field="result")
    if reached_cone and reached_cone not in CONES:
        raise WareRefusal(
            "unknown_cone", f"There is no cone {reached_cone!r}.", field="reached_cone"
        )
    with transaction.atomic(durable=True):
        kiln = held_kiln(firing.kiln_id)
        firing = locked_firing(firing)
        require_state(firing, FiringState.OPENED)
        _check_settled(firing)
        _set_registers(firing, register_start_wh, register_end_wh)
        readings = moments_of(firing)
        _set_energy(firing, readings, is_needed=True, at=at)
        firing.result, firing.reached_cone = result, reached_cone
        firing.is_kiln_fault, firing.closed_at = is_kiln_fault, at
        change_firing_state(firing, FiringState.CLOSED, deed="closed", by=by, at=at)
        firing.save()
        learn_cooling_of(firing, at=at)
        keep_health_of(firing, readings, at=at)
        if firing.is_empty_first_firing:
            _pass_first_firing(firing, kiln, by=by, at=at)
        firing_closed.send(sender=Firing, firing=firing, by=by, at=at)
    return firing


def abort_firing(
    *,
    by: Person,
    at: datetime,
    firing: Firing,
    reason: str,
    register_end_wh: int | None = None,
    is_kiln_fault: bool = False,
) -> Firing:
    """Break off a started firing. Its ware waits again; the kiln may still be hot.

    The energy used so far is kept where it is known. Announces `firing_aborted`.
    """
    require_role(by, Role.CREW)
    if not reason.strip():
        raise WareRefusal("reason_missing", "Say why the firing is broken off.", field="reason")
    with transaction.atomic(durable=True):
        kiln = held_kiln(firing.kiln_id)
        firing = locked_firing(firing)
        require_state(firing, FiringState.FIRING, FiringState.COOLING, FiringState.COOLED)
        _set_registers(firing, None, register_end_wh)
        _set_energy(firing, moments_of(firing), is_needed=False, at=at)
        firing.abort_reason, firing.is_kiln_fault = reason, is_kiln_fault
        firing.closed_at = at
        clear_alarms(firing, at=at, kinds=[*WHILE_HEATING, AlarmKind.NO_DATA])
        change_firing_state(
            firing, FiringState.ABORTED, deed="broken off", by=by, at=at, why=reason
        )
        firing.save()
        released = release_ware(firing, deed="firing broken off", by=by, at=at)
        for member in {booking.member for booking in released}:
            write_notice(
                key=f"aborted:{firing.pk}:{member.pk}",
                kind="aborted",
                person=member,
                at=at,
                facts={"firing": firing.pk, "reason": reason},
            )
        if is_kiln_fault:
            _take_out_of_service(firing, kiln, reason, by=by, at=at)
        firing_aborted.send(sender=Firing, firing=firing, by=by, at=at)
    return firing


def _check_settled(firing: Firing) -> None:
    open_slips = firing.bookings.filter(state=BookingState.FIRED).values_list("slip", flat=True)
    if open_slips:
        raise WareRefusal(
            "ware_not_unloaded",
            f"Not yet on the pick-up shelf: {', '.join(open_slips)}. "
            "Record how each slip came out first.",
        )
    read = firing.witness_cones.filter(cone=firing.cone)
    if firing.is_empty_first_firing and not read.exists():
        raise WareRefusal(
            "witness_cone_missing",
            f"A first firing is closed with what its witness cone {firing.cone} showed.",
        )


def _set_registers(firing: Firing, start_wh: int | None, end_wh: int | None) -> None:
    if start_wh is not None:
        firing.register_start_wh = start_wh
    if end_wh is not None:
        firing.register_end_wh = end_wh
    start, end = firing.register_start_wh, firing.register_end_wh
    if end is not None and start is None:
        raise WareRefusal(
            "register_start_missing",
            "The meter's reading at the start is missing: type both, or leave both empty.",
            field="register_start_wh",
        )
    if start is not None and end is not None and not 0 <= end - start <= ENERGY_WH_MAX:
        raise WareRefusal(
            "meter_runs_backwards" if end < start else "energy_absurd",
            f"The meter reads {end / 1000:,.1f} kWh at the end and {start / 1000:,.1f} kWh at the "
            "start. "
            + ("A meter only runs forward." if end < start else "That cannot be one firing."),
            field="register_end_wh",
            status=400,
        )


def _set_energy(firing: Firing, readings: list[Moment], *, is_needed: bool, at: datetime) -> None:
    """Take the energy from the most trusted source and keep how it was spread over time.

    A firing that was broken off need not have one (`is_needed`).
    """
    started_at, ended_at = firing.started_at or at, firing.opened_at or at
    try:
        estimate = _estimate(firing, readings, started_at, ended_at, is_whole=is_needed)
    except ValueError as error:
        if not is_needed:
            return
        raise WareRefusal(
            "energy_unknown",
            f"How much electricity this firing used is not known: {error}.",
            field="register_end_wh",
        ) from error
    profile = energy_profile(readings, estimate, firing.kiln.rated_power_w, started_at, ended_at)
    firing.energy_wh = estimate.energy_wh
    firing.energy_uncertainty_wh = estimate.uncertainty_wh
    firing.energy_source = estimate.source
    firing.energy_working = {
        "source": estimate.source,
        "how": estimate.working,
        "profile": [
            [part.start_at.isoformat(), part.end_at.isoformat(), part.energy_wh] for part in profile
        ],
    }


def _estimate(
    firing: Firing,
    readings: list[Moment],
    started_at: datetime,
    ended_at: datetime,
    *,
    is_whole: bool,
) -> EnergyEstimate:
    """Firings that ended well say nothing of one that was broken off: it is not `is_whole`."""
    like = Firing.objects.filter(
        kiln=firing.kiln,
        stage=firing.stage,
        cone=firing.cone,
        state=FiringState.CLOSED,
        energy_source__in=MEASURED_SOURCES,
    ).order_by("-started_at")
    history = [wh for wh in like.values_list("energy_wh", flat=True)[:10] if wh and is_whole]
    meters = FiringMeters(
        start_at=started_at,
        end_at=ended_at,
        register_start_wh=firing.register_start_wh,
        register_end_wh=firing.register_end_wh,
        meter_class_percent=float(firing.kiln.meter_class_percent),
        intervals=intervals_of(firing.kiln, started_at, ended_at),
    )
    return best_energy(
        readings,
        firing.kiln.rated_power_w,
        meters,
        history,
        power_factor=power_factor_of(firing.kiln),
    )


def _pass_first_firing(firing: Firing, kiln: Kiln, *, by: Person, at: datetime) -> None:
    """The kiln has run empty to its cone: it may take ware, unless it fell short.

    Nor when it was taken out of service, or had new elements, after this firing was started.
    """
    asked = kiln.care_tasks.filter(kind=CareKind.FIRST_FIRING, done_at=None)
    is_asked_anew = asked.filter(due_since__gt=firing.started_at).exists()
    if firing.result == Result.UNDER or is_asked_anew:
        return
    asked.update(done_at=at, done_by=by)
    if kiln.state == KilnState.FIRST_FIRING_DUE:
        change_kiln_state(
            kiln, KilnState.IN_SERVICE, "first firing passed", by=by, at=at, why=str(firing)
        )


def _take_out_of_service(
    firing: Firing, kiln: Kiln, reason: str, *, by: Person, at: datetime
) -> None:
    change_kiln_state(
        kiln, KilnState.OUT_OF_SERVICE, "out of service", by=by, at=at, why=f"{firing}: {reason}"
    )
    CareTask.objects.create(
        kiln=firing.kiln, kind=CareKind.REPAIR, due_since=at, note=f"{firing}: {reason}"
    )
