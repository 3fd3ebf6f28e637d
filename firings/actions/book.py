"""A pot is booked: by a member in a queue, or on an announced firing."""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction

from firings.actions.kiln_space import footprint_of, shelf_area_mm2
from firings.actions.promised_space import fits_alone, promise_space
from firings.actions.size_words import no_room_for_cones
from firings.actions.ware_rules import (
    check_cone,
    check_dry_on,
    check_goes_in_one_load,
    check_materials,
    check_sizes,
    kilns_for,
)
from firings.calculations.footprints import (
    GREATEST_SIZE_MM,
    SHELF_FRACTIONS,
    charged_area_mm2,
    fraction_area_mm2,
)
from firings.calculations.slips import slip_code
from firings.models import (
    Booking,
    Clay,
    Firing,
    FiringPolicy,
    FiringState,
    Glaze,
    KilnState,
    Piece,
)
from firings.refusals import WareRefusal
from studio.actions.outbox import write_notice
from studio.actions.trail import record_deed
from studio.models import Person, Role, Studio
from studio.refusals import Denied

PIECES_AT_MOST = 60


@dataclass(frozen=True)
class PieceRequest:
    """So many pieces of one kind and size. Lengths in mm; `depth_mm` only of rectangles."""

    name: str
    shape: str
    across_mm: int
    height_mm: int
    depth_mm: int | None = None
    count: int = 1


def book_ware(
    *,
    by: Person,
    at: datetime,
    stage: str,
    cone: str,
    clay: Clay,
    dry_on: date,
    glazes: Sequence[Glaze] = (),
    pieces: Sequence[PieceRequest] = (),
    shelf_fraction: str = "",
    shelf_height_mm: int | None = None,
    firing: Firing | None = None,
    member: Person | None = None,
    note: str = "",
) -> Booking:
    """Book pieces, or a fraction of a shelf, in the queue or on an announced firing.

    Everything the trade asks at booking is checked here. On an announced firing the planner
    has the last word, with the firing's row locked, so that the last space is given once.
    Writes the notice `booked`.
    """
    member = member or by
    _check_member(by, member)
    policy, studio = FiringPolicy.current(), Studio.current()
    check_cone(cone, stage, policy)
    check_dry_on(dry_on, at.astimezone(studio.zone).date())
    check_materials(name="your ware", stage=stage, cone=cone, clay=clay, glazes=glazes)
    rows = _piece_rows(pieces, shelf_fraction, shelf_height_mm)
    kilns = [firing.kiln] if firing else kilns_for(cone)
    check_sizes([(row.name, footprint_of(row), row.height_mm) for row in rows], kilns, policy, by)
    if shelf_fraction:
        area = fraction_area_mm2(shelf_area_mm2(kilns[0]), SHELF_FRACTIONS[shelf_fraction])
    else:
        area = area_of(rows, policy.gap_mm(stage))
        check_goes_in_one_load(area_of(rows, 0), kilns, policy)

    with transaction.atomic(durable=True):
        booking = Booking.objects.create(
            slip=f"~{secrets.token_hex(3)}",  # until its number is known, three lines below
            member=member,
            account_id=member.account_id or 0,  # _check_member refuses a member without one
            stage=stage,
            cone=cone,
            clay=clay,
            dry_on=dry_on,
            shelf_fraction=shelf_fraction,
            charged_area_mm2=area,
            booked_area_mm2=area,
            note=note,
            booked_at=at,
        )
        booking.slip = slip_code(booking.pk)
        booking.glazes.set(glazes)
        for row in rows:
            row.booking = booking
        Piece.objects.bulk_create(rows)
        if firing:
            _take_space(booking, firing.pk, studio, at)
        booking.save(update_fields=["slip", "firing", "is_promised"])
        record_deed(booking, "booked", by=by, at=at, to_state=booking.state)
        write_notice(
            key=f"booked:{booking.pk}",
            kind="booked",
            person=member,
            at=at,
            facts={"booking": booking.pk, "slip": booking.slip},
        )
    return booking


def area_of(pieces: Sequence[Piece], gap_mm: int) -> int:
    """The charged area of pieces with footprints: each grown by half the spacing all round."""
    footprints = [footprint_of(piece) for piece in pieces]
    return sum(charged_area_mm2(footprint, gap_mm) for footprint in footprints if footprint)


def _check_member(by: Person, member: Person) -> None:
    if member != by and not by.has_role(Role.CREW, Role.MANAGER):
        raise Denied("not_your_booking", "Only kiln crew may book for somebody else.")
    if not member.has_role(Role.MEMBER):
        raise WareRefusal("not_a_member", f"{member} is not an active member of this studio.")
    if member.account_id is None:
        raise WareRefusal(
            "no_account",
            f"{member} has no billing account yet. Ask the studio manager to set one.",
        )


def _piece_rows(
    pieces: Sequence[PieceRequest], shelf_fraction: str, shelf_height_mm: int | None
) -> list[Piece]:
    """The rows to be written, one for each pot, or the single one of a shelf fraction."""
    if shelf_fraction:
        if pieces:
            raise WareRefusal(
                "pieces_and_shelf", "Book either pieces or a part of a shelf, not both."
            )
        if shelf_fraction not in SHELF_FRACTIONS:
            raise WareRefusal(
                "unknown_fraction", "Book a quarter, half or full shelf.", field="shelf_fraction"
            )
        height_mm = _checked_mm("height", shelf_height_mm, "shelf_height_mm")
        return [Piece(name=f"{shelf_fraction.capitalize()} shelf", height_mm=height_mm)]
    if not pieces:
        raise WareRefusal("no_pieces", "Say what you bring: at least one piece.", field="pieces")
    for wanted in pieces:
        _check_request(wanted)
    if sum(wanted.count for wanted in pieces) > PIECES_AT_MOST:
        raise WareRefusal(
            "too_many_pieces",
            f"At most {PIECES_AT_MOST} pieces go on one slip. Make a second booking for the rest.",
            field="pieces",
        )
    return [
        Piece(
            name=wanted.name,
            shape=wanted.shape,
            across_mm=wanted.across_mm,
            depth_mm=wanted.depth_mm,
            height_mm=wanted.height_mm,
        )
        for wanted in pieces
        for _ in range(wanted.count)
    ]


def _check_request(wanted: PieceRequest) -> None:
    if wanted.shape not in ("round", "rectangle"):
        raise WareRefusal(
            "unknown_shape", f"{wanted.name}: say round or rectangular.", field="pieces"
        )
    if not 1 <= wanted.count <= PIECES_AT_MOST:
        raise WareRefusal(
            "absurd_count",
            f"{wanted.name}: the number of pieces must lie between 1 and {PIECES_AT_MOST}.",
            field="pieces",
        )
    _checked_mm(f"{wanted.name}: width", wanted.across_mm, "pieces")
    _checked_mm(f"{wanted.name}: height", wanted.height_mm, "pieces")
    if wanted.shape == "rectangle":
        _checked_mm(f"{wanted.name}: depth", wanted.depth_mm, "pieces")
    elif wanted.depth_mm is not None:
        raise WareRefusal(
            "round_with_depth", f"{wanted.name}: round ware has no depth.", field="pieces"
        )


def _checked_mm(what: str, size_mm: int | None, field: str) -> int:
    if size_mm is None or not 1 <= size_mm <= GREATEST_SIZE_MM:
        raise WareRefusal(
            "absurd_size",
            f"{what} must lie between 1 mm and {GREATEST_SIZE_MM // 10} cm. Mind the unit.",
            field=field,
        )
    return size_mm


def _take_space(booking: Booking, firing_pk: int, studio: Studio, at: datetime) -> None:
    """Put the booking on an announced firing, if all that is on it still fits with it.

    The firing's row is locked first: the second of two members who want the last space waits
    here, and then sees the first one's booking.
    """
    firing = Firing.objects.select_for_update(of=("self",)).select_related("kiln").get(pk=firing_pk)
    if firing.state != FiringState.OPEN:
        raise WareRefusal("not_taking_bookings", f"{firing} takes no more bookings.")
    if firing.kiln.state == KilnState.OUT_OF_SERVICE:
        raise WareRefusal(
            "kiln_out_of_service",
            f"{firing.kiln} is out of service, so this firing takes no bookings now. "
            "Put the ware in the queue.",
        )
    if (firing.stage, firing.cone) != (booking.stage, booking.cone):
        raise WareRefusal(
            "wrong_firing",
            f"{firing} is {firing.stage} to cone {firing.cone}; your ware is "
            f"{booking.stage} to cone {booking.cone}.",
        )
    # A firing whose hour has passed unloaded is loaded today at the earliest.
    loaded_on = max(at, firing.planned_for).astimezone(studio.zone).date()
    if booking.dry_on > loaded_on:
        raise WareRefusal(
            "dry_after_firing",
            f"The ware must be dry by {loaded_on:%-d %B}, when this firing is loaded.",
            field="dry_on",
        )
    booking.firing, booking.is_promised = firing, True
    if not promise_space(firing, booking):
        raise WareRefusal("firing_is_full", _why_no_space(booking, firing))


def _why_no_space(booking: Booking, firing: Firing) -> str:
    """Whether others have the room, or this booking alone asks for more than a load has."""
    if fits_alone(firing, booking):
        return (
            f"{firing} has no room left for this. Book fewer or smaller pieces, "
            "or put the ware in the queue."
        )
    if fits_alone(firing, booking, with_cones=False):
        return f"{no_room_for_cones(booking.member)} Book less of the shelf, or lower ware."
    return "This is more than one load of the kiln holds. Book it in parts."
