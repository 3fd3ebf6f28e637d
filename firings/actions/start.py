"""A firing is started: the short list that a person ticks, made from the rules and the kiln."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import asdict, dataclass
from datetime import datetime

from django.db import transaction

from firings.actions.kiln_state import held_kiln
from firings.actions.load import with_ware
from firings.actions.plan_firing import (
    change_firing_state,
    check_kiln_may_fire,
    locked_firing,
    require_state,
)
from firings.actions.size_words import length_words
from firings.actions.ware_rules import check_may_enter
from firings.models import (
    Booking,
    BookingState,
    CareTask,
    Firing,
    FiringPolicy,
    FiringState,
    Kiln,
    Stage,
    Vent,
)
from firings.refusals import WareRefusal
from studio.actions.outbox import write_notice
from studio.actions.permits import require_role
from studio.actions.trail import record_deed
from studio.models import Person, Role, Studio


@dataclass(frozen=True)
class CheckItem:
    """One line of the pre-start check. `is_overdue` lines may be overridden with a reason."""

    code: str
    text: str
    is_overdue: bool = False


_VENT_ADVICE = {
    Vent.NONE: "No vent: leave the upper peephole open as the kiln's maker says, and see that the "
    "room is aired. Fumes of a firing do not belong in a room with people.",
    Vent.DOWNDRAFT: "The downdraft vent runs; peepholes are plugged as its maker says.",
    Vent.HOOD: "The hood runs and make-up air can come in; peepholes as the kiln's maker says.",
}


def start_check(firing: Firing) -> list[CheckItem]:
    """The list for this firing: from the rules of the trade, the kiln's set-up and its care."""
    policy, kiln = FiringPolicy.current(), firing.kiln
    items = [
        CheckItem(
            "clear",
            "Nothing that burns is near the kiln, its lid and walls; the way out is free. "
            "The maker's manual and local code say how far.",
        ),
        CheckItem("vent", _VENT_ADVICE[Vent(kiln.vent)]),
        CheckItem(
            "posts",
            "The bottom shelf stands on posts at least "
            f"{length_words(policy.lowest_post_mm, None)} high; nothing "
            "stands on the kiln floor; posts stand in line.",
        ),
        CheckItem("thermocouple", "Thermocouple and elements are clear of ware and shelves."),
    ]
    items += _ware_items(firing, policy)
    items += _cone_items(firing)
    items += [
        CheckItem(
            f"care:{task.pk}", f"Open care task: {task.get_kind_display()}. {task.note}", True
        )
        for task in kiln.care_tasks.filter(done_at=None).exclude(kind="first_firing")
    ]
    return items


def _ware_items(firing: Firing, policy: FiringPolicy) -> list[CheckItem]:
    if firing.is_empty_first_firing:
        return [CheckItem("empty", "The kiln holds shelves and posts only, and a witness cone.")]
    items = [
        CheckItem(
            "dry", "Every piece was felt: none is cool or damp. Wet ware bursts when it is heated."
        )
    ]
    if firing.stage == Stage.GLAZE:
        items += [
            CheckItem("wash", "Shelves have kiln wash on top; feet of the ware are wiped clean."),
            CheckItem(
                "gap",
                "No two glazed pieces stand closer than "
                f"{length_words(policy.glaze_gap_mm, None)}.",
            ),
        ]
    return items


def _cone_items(firing: Firing) -> list[CheckItem]:
    packs = [layer.position for layer in firing.layers.all() if layer.cone_pack]
    if firing.is_empty_first_firing or packs:
        where = f" on layer {', '.join(map(str, packs))}" if packs else ""
        items = [CheckItem("cones", f"Witness cones for cone {firing.cone} stand{where}.")]
    else:
        items = []
    since = firings_since_witness_cone(firing.kiln)
    if since >= firing.kiln.witness_every_firings:
        items.append(
            CheckItem(
                "witness",
                f"Witness cones are overdue: the last {since} firings were closed without one.",
                True,
            )
        )
    return items


def firings_since_witness_cone(kiln: Kiln) -> int:
    """How many closed firings ago a witness cone was last read; all of them when never."""
    closed = Firing.objects.filter(kiln=kiln, state=FiringState.CLOSED)
    last = closed.filter(witness_cones__isnull=False).order_by("-started_at").first()
    return closed.filter(started_at__gt=last.started_at).count() if last else closed.count()


def start_firing(
    *,
    by: Person,
    at: datetime,
    firing: Firing,
    ticked: Collection[str],
    register_start_wh: int | None = None,
    override_reason: str = "",
) -> Firing:
    """Start a loaded kiln, once the check is ticked. What was overdue and overridden is recorded.

    Wareboard switches nothing: the person starts the kiln. Members are told (`loaded`).
    """
    require_role(by, Role.CREW)
    with transaction.atomic(durable=True):
        kiln = held_kiln(firing.kiln_id)
        firing = locked_firing(firing)
        require_state(firing, FiringState.LOADING)
        check_kiln_may_fire(kiln, firing)
        loaded = list(with_ware(firing.bookings.select_for_update(of=("self",)).order_by("pk")))
        _check_ware(firing, loaded, at)
        items = start_check(firing)
        overridden = _check_ticks(items, ticked, override_reason)
        firing.start_check = [{**asdict(item), "is_ticked": item.code in ticked} for item in items]
        firing.started_at, firing.started_by = at, by
        firing.register_start_wh = register_start_wh
        change_firing_state(
            firing, FiringState.FIRING, deed="started", by=by, at=at, why=override_reason
        )
        firing.save()
        _finish_ticked_care(kiln, items, ticked, by=by, at=at)
        Booking.objects.filter(firing=firing).update(dryness_confirmed_by=by)
        if overridden:
            record_deed(
                firing, "overdue check overridden", by=by, at=at, why=override_reason,
                items=[item.code for item in overridden],
            )  # fmt: skip
        _tell_members(firing, loaded, at)
    return firing


def _check_ware(firing: Firing, loaded: list[Booking], at: datetime) -> None:
    if firing.is_empty_first_firing:
        return
    unplaced = [b.slip for b in loaded if b.state != BookingState.PLACED]
    if unplaced:
        raise WareRefusal(
            "ware_not_placed",
            f"Promised to this firing but not in the load: {', '.join(unplaced)}. "
            "Fill the load again, or take the ware off this firing.",
        )
    if not loaded:
        raise WareRefusal("load_is_empty", "There is no ware in this load. Fill it first.")
    on = at.astimezone(Studio.current().zone).date()
    for booking in loaded:
        check_may_enter(booking, stage=firing.stage, cone=firing.cone, on=on)
        if any(not hasattr(piece, "placement") for piece in booking.pieces.all()):
            raise WareRefusal(
                "piece_without_place",
                f"A piece of slip {booking.slip} has lost its place. Fill the load again.",
            )


def _check_ticks(
    items: list[CheckItem], ticked: Collection[str], override_reason: str
) -> list[CheckItem]:
    """Refuse while a line is open; answer the overdue lines that are overridden."""
    unticked = [item for item in items if item.code not in ticked]
    needed = [item for item in unticked if not item.is_overdue]
    if needed:
        raise WareRefusal(
            "check_not_complete",
            f"Not ticked: {needed[0].text}"
            + (f" And {len(needed) - 1} more." if len(needed) > 1 else ""),
            field="ticked",
            missing=[item.code for item in needed],
        )
    if unticked and not override_reason.strip():
        raise WareRefusal(
            "override_reason_missing",
            f"Overdue: {unticked[0].text} Tick it when it is done, or write why you start anyway.",
            field="override_reason",
        )
    return unticked


def _finish_ticked_care(
    kiln: Kiln, items: list[CheckItem], ticked: Collection[str], *, by: Person, at: datetime
) -> None:
    """Of the care tasks on the list only: a first firing is done by firing, not by a tick."""
    asked = [item.code for item in items if item.code.startswith("care:")]
    done = [code.removeprefix("care:") for code in asked if code in ticked]
    CareTask.objects.filter(kiln=kiln, done_at=None, pk__in=done).update(done_at=at, done_by=by)


def _tell_members(firing: Firing, loaded: list[Booking], at: datetime) -> None:
    for member in {booking.member for booking in loaded}:
        slips = [booking.slip for booking in loaded if booking.member_id == member.pk]
        write_notice(
            key=f"loaded:{firing.pk}:{member.pk}",
            kind="loaded",
            person=member,
            at=at,
            facts={"firing": firing.pk, "slips": slips},
        )
