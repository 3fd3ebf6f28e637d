"""Ware as the planner is given it: pieces and bundles, their order, names and weight."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, timedelta

from firings.actions.kiln_space import footprint_of, fraction_of
from firings.calculations.bisque_bundles import Bundle, BundleKind, BundleRule, Ware, bundles_of
from firings.calculations.footprints import Footprint
from firings.calculations.kiln_space import KilnSpace, check_footprint_fits
from firings.calculations.planning.problem import LoadRule, QueuePiece
from firings.models import Booking, Firing, FiringPolicy, Piece, Placement, Stage

# Promised space counts as the longest wait: so it goes before everything else in a load.
PROMISED = timedelta(days=3650)


def rule_of(policy: FiringPolicy) -> LoadRule:
    """How the studio weighs filled area against waiting; bookings carry no due date."""
    return LoadRule(
        waiting_weight_per_day=policy.wait_percent_per_day / 100,
        waits_at_most_days=policy.waits_at_most_days,
    )


def names_of(bookings: Iterable[Booking]) -> dict[str, str]:
    """What sentences call each piece, by its id in plans."""
    return {
        str(piece.pk): f"{piece.name} of slip {booking.slip}"
        for booking in bookings
        for piece in booking.pieces.all()
    }


def bundles_for(
    bookings: Iterable[Booking], space: KilnSpace, policy: FiringPolicy
) -> tuple[Bundle, ...]:
    """The bundles that the studio's rules make of bisque ware, slip by slip."""
    rule = BundleRule(
        bowls_nested_at_most=policy.bowls_nested_at_most,
        lids_on_jars=policy.lids_on_jars,
        tiles_on_edge=policy.tiles_on_edge,
    )

    def may_stand(footprint: Footprint, height_mm: int) -> bool:
        return not check_footprint_fits(space, footprint, height_mm)

    return tuple(
        bundle
        for booking in bookings
        if booking.stage == Stage.BISQUE
        for bundle in bundles_of(_ware_of(booking.pieces.all()), rule, may_stand=may_stand)
    )


def written_bundles(placements: Iterable[Placement]) -> tuple[Bundle, ...]:
    """The bundles of a load as they are written down. Give placements with `piece`."""
    puts = list(placements)
    own = {put.piece_id: put.piece for put in puts}
    riders: dict[int, list[Placement]] = {}
    for put in puts:
        if put.carried_by_id in own:
            riders.setdefault(put.carried_by_id, []).append(put)
    return tuple(
        Bundle(
            BundleKind(mine[0].stands),
            tuple(_ware_of([own[carrier], *(put.piece for put in mine)])),
        )
        for carrier, mine in riders.items()
    )


def _ware_of(pieces: Iterable[Piece]) -> list[Ware]:
    ware = []
    for piece in pieces:
        footprint = footprint_of(piece)
        if footprint is not None:
            ware.append(Ware(str(piece.pk), piece.name, footprint, piece.height_mm))
    return ware


def queue_pieces(
    bookings: Iterable[Booking],
    *,
    firing: Firing | None = None,
    bundles: Sequence[Bundle] = (),
) -> list[QueuePiece]:
    """What is planned, in the order of `bookings`: pieces, and bundles in place of their members.

    One slip is fired together. What `firing` has promised space goes before everything else.
    """
    riders = {piece_id for bundle in bundles for piece_id in bundle.rider_ids}
    bundle_of = {bundle.id: bundle for bundle in bundles}
    return [
        _queue_piece(booking, piece, bundle_of.get(str(piece.pk)), number, firing)
        for number, booking in enumerate(bookings, start=1)
        for piece in booking.pieces.all()
        if str(piece.pk) not in riders
    ]


def _queue_piece(
    booking: Booking, piece: Piece, bundle: Bundle | None, number: int, firing: Firing | None
) -> QueuePiece:
    return QueuePiece(
        id=str(piece.pk),
        member=str(booking.member_id),
        stage=booking.stage,
        cone=booking.cone,
        footprint=bundle.footprint if bundle else footprint_of(piece),
        height_mm=bundle.height_mm if bundle else piece.height_mm,
        ready_on=_ready_on(booking, firing),
        group=booking.slip,
        booked_order=number,
        fraction=fraction_of(booking),
        kind=piece.name,
    )


def _ready_on(booking: Booking, firing: Firing | None) -> date:
    is_promised = firing is not None and booking.is_promised and booking.firing_id == firing.pk
    return booking.dry_on - PROMISED if is_promised else booking.dry_on
