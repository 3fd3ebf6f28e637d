"""A kiln is opened and unloaded: what came out of it, and where it waits for its maker."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

from django.db import transaction

from firings.actions.alarms import clear_alarms
from firings.actions.bookings import change_state, locked_booking
from firings.actions.heat_words import heat_words
from firings.actions.plan_firing import change_firing_state, locked_firing, require_state
from firings.calculations.cone_packs import role_of
from firings.calculations.cones import CONES
from firings.models import (
    Booking,
    BookingState,
    CareKind,
    CareTask,
    ConePosition,
    ConeRole,
    Firing,
    FiringPolicy,
    FiringState,
    Outcome,
    Piece,
    Stage,
    WitnessCone,
)
from firings.refusals import WareRefusal
from studio.actions.outbox import write_notice
from studio.actions.permits import require_role
from studio.actions.trail import record_deed
from studio.models import Person, Role, Studio


@dataclass(frozen=True)
class ConeSeen:
    """A witness cone as it was found: `bend` 0 standing, 1 tip level with the base.

    `role` is its part in the pack, told from the firing's cone when left out; `position` where on
    the layer the pack stood, when there is more than one.
    """

    layer: int
    cone: str
    bend: Decimal
    role: str = ""
    position: str = ""


def open_firing(
    *,
    by: Person,
    at: datetime,
    firing: Firing,
    temp_c: float,
    reason: str = "",
    cones: Sequence[ConeSeen] = (),
) -> Firing:
    """Open the kiln, at the temperature that was just measured; above the limit with a reason."""
    require_role(by, Role.CREW)
    limit_c = FiringPolicy.current().opening_limit_c
    if not -20 <= temp_c <= 1400:
        raise WareRefusal(
            "absurd_temperature", "Type the temperature that the kiln shows now.", field="temp_c"
        )
    if temp_c > limit_c and not reason.strip():
        raise WareRefusal(
            "hotter_than_limit",
            f"{heat_words(temp_c, by)} was measured; this studio opens at "
            f"{heat_words(limit_c, by)} or below. Ware can crack and hands can burn. "
            "If you open all the same, write why.",
            field="reason",
            limit_c=limit_c,
        )
    with transaction.atomic(durable=True):
        firing = locked_firing(firing)
        require_state(firing, FiringState.COOLING, FiringState.COOLED)
        clear_alarms(firing, at=at)
        firing.opened_at, firing.opened_by = at, by
        firing.opened_at_c, firing.opening_reason = temp_c, reason
        change_firing_state(firing, FiringState.OPENED, deed="opened", by=by, at=at, why=reason)
        firing.save()
        _write_cones(firing, cones)
        for booking in firing.bookings.select_for_update():
            change_state(booking, BookingState.FIRED, deed="fired", by=by, at=at)
            booking.save(update_fields=["state"])
        # Bisque leaves crumbs and dust on elements and bricks. Common practice, no source.
        if firing.stage == Stage.BISQUE and not firing.is_empty_first_firing:
            CareTask.objects.get_or_create(
                kiln=firing.kiln,
                kind=CareKind.VACUUM,
                done_at=None,
                defaults={"due_since": at, "note": f"After {firing}."},
            )
    return firing


def record_witness_cones(
    *, by: Person, at: datetime, firing: Firing, cones: Sequence[ConeSeen]
) -> Firing:
    """Write down, or correct, what the witness cones showed, until the firing is closed."""
    require_role(by, Role.CREW)
    with transaction.atomic(durable=True):
        firing = locked_firing(firing)
        require_state(firing, FiringState.OPENED)
        _write_cones(firing, cones)
    return firing


def shelve_booking(
    *,
    by: Person,
    at: datetime,
    booking: Booking,
    place: str,
    outcomes: Mapping[int, tuple[str, str]] | None = None,
) -> Booking:
    """Record how each piece came out and where the ware waits; tell the member.

    `outcomes` maps a piece's id to (outcome, note); pieces not named are sound. When every piece
    is broken, nothing waits anywhere: the booking is lost.
    """
    require_role(by, Role.CREW)
    outcomes = outcomes or {}
    studio = Studio.current()
    with transaction.atomic(durable=True):
        booking = locked_booking(booking)
        if booking.state != BookingState.FIRED:
            raise WareRefusal(
                "not_fired",
                f"Slip {booking.slip} is {booking.get_state_display().lower()}; "
                "ware is put on the pick-up shelf once, after its kiln was opened.",
            )
        pieces = list(booking.pieces.all())
        _write_outcomes(booking, pieces, outcomes)
        whole = [piece for piece in pieces if piece.outcome != Outcome.BROKEN]
        state = BookingState.READY if whole else BookingState.LOST
        if whole and not place.strip():
            raise _place_missing()
        deed = "put on the pick-up shelf" if whole else "lost"
        change_state(booking, state, deed=deed, by=by, at=at)
        booking.pick_up_place, booking.ready_at = place.strip(), at
        booking.pick_up_by = (
            at.astimezone(studio.zone) + timedelta(days=studio.pick_up_days)
        ).date()
        booking.save()
        _tell_member(booking, pieces, at, key=f"ready:{booking.pk}")
    return booking


def correct_shelving(
    *,
    by: Person,
    at: datetime,
    booking: Booking,
    place: str,
    outcomes: Mapping[int, tuple[str, str]] | None = None,
) -> Booking:
    """Put right what was recorded of ware on the pick-up shelf: it stands elsewhere, it broke.

    `outcomes` as in `shelve_booking`; pieces not named keep theirs. A piece said to be broken now
    needs a note of what happened. The day to collect it by stays.
    """
    require_role(by, Role.CREW)
    outcomes = outcomes or {}
    with transaction.atomic(durable=True):
        booking = locked_booking(booking)
        if booking.state != BookingState.READY:
            raise WareRefusal(
                "not_on_the_shelf",
                f"Slip {booking.slip} is {booking.get_state_display().lower()}; only what waits "
                "on the pick-up shelf can be put right.",
            )
        pieces = list(booking.pieces.all())
        _check_what_happened(pieces, outcomes)
        kept = {piece.pk: (piece.outcome, piece.outcome_note) for piece in pieces}
        _write_outcomes(booking, pieces, {**kept, **outcomes})
        if all(piece.outcome == Outcome.BROKEN for piece in pieces):
            change_state(booking, BookingState.LOST, deed="lost", by=by, at=at)
        else:
            if not place.strip():
                raise _place_missing()
            booking.pick_up_place = place.strip()
            record_deed(booking, "put right on the shelf", by=by, at=at, place=place.strip())
        booking.save()
        _tell_member(booking, pieces, at, key=f"put_right:{booking.pk}:{at.isoformat()}")
    return booking


def _check_what_happened(pieces: Sequence[Piece], outcomes: Mapping[int, tuple[str, str]]) -> None:
    for piece in pieces:
        outcome, note = outcomes.get(piece.pk, (piece.outcome, piece.outcome_note))
        is_new = outcome == Outcome.BROKEN and piece.outcome != Outcome.BROKEN
        if is_new and not note.strip():
            raise WareRefusal(
                "what_happened", f"Say what happened to {piece.name}; its maker is told."
            )


def _place_missing() -> WareRefusal:
    return WareRefusal(
        "place_missing", "Say where on the pick-up shelf the ware is.", field="place"
    )


def _write_cones(firing: Firing, cones: Sequence[ConeSeen]) -> None:
    for seen in cones:
        if seen.cone not in CONES:
            raise WareRefusal("unknown_cone", f"There is no cone {seen.cone!r}.", field="cones")
        if not 0 <= seen.bend <= 1:
            raise WareRefusal(
                "bend_out_of_range",
                "A cone's bend lies between 0 (standing) and 1 (tip level with the base).",
                field="cones",
            )
        if seen.role and seen.role not in ConeRole.values:
            raise WareRefusal("unknown_role", f"{seen.role!r} is no part of a pack.", field="cones")
        if seen.position and seen.position not in ConePosition.values:
            raise WareRefusal(
                "unknown_position", f"{seen.position!r} is no place on a layer.", field="cones"
            )
    if len({(seen.layer, seen.position, seen.cone) for seen in cones}) < len(cones):
        raise WareRefusal("cone_twice", "The same cone at the same place was given twice.")
    for seen in cones:
        WitnessCone.objects.update_or_create(
            firing=firing,
            layer=seen.layer,
            position=seen.position,
            cone=seen.cone,
            defaults={"bend": seen.bend, "role": seen.role or role_of(seen.cone, firing.cone)},
        )


def _write_outcomes(
    booking: Booking, pieces: list[Piece], outcomes: Mapping[int, tuple[str, str]]
) -> None:
    strangers = set(outcomes) - {piece.pk for piece in pieces}
    if strangers:
        raise WareRefusal(
            "piece_of_another_slip", f"A piece given does not belong to slip {booking.slip}."
        )
    for piece in pieces:
        outcome, note = outcomes.get(piece.pk, (Outcome.SOUND, ""))
        if outcome not in Outcome.values:
            raise WareRefusal("unknown_outcome", f"{outcome!r} is no outcome.", field="outcome")
        piece.outcome, piece.outcome_note = outcome, note
    Piece.objects.bulk_update(pieces, ["outcome", "outcome_note"])


def _tell_member(booking: Booking, pieces: list[Piece], at: datetime, key: str) -> None:
    sound = sum(piece.outcome == Outcome.SOUND for piece in pieces)
    write_notice(
        key=key,
        kind="ready" if booking.state == BookingState.READY else "lost",
        person=booking.member,
        at=at,
        facts={
            "booking": booking.pk,
            "slip": booking.slip,
            "count": sum(piece.outcome != Outcome.BROKEN for piece in pieces),
            "sound": sound,
            "faults": [
                [piece.name, piece.get_outcome_display(), piece.outcome_note]
                for piece in pieces
                if piece.outcome != Outcome.SOUND
            ],
            "place": booking.pick_up_place,
            "pick_up_by": booking.pick_up_by.isoformat() if booking.pick_up_by else "",
        },
    )
