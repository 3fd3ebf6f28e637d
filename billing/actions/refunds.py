"""Part of a booking's charge, or of one piece's, is given back when the kiln was at fault."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction
from django.db.models import Sum

from billing.actions.chart import REFUNDS, open_account, receivable_of
from billing.actions.ledger import Leg, hold_ledger, local_day, post_entry, require_reason
from billing.calculations.memberships import WHOLE_BP, part_of
from billing.calculations.splitting import largest_remainder
from billing.models import Refund, Share
from billing.refusals import BillingRefusal
from firings.actions.kiln_space import footprint_of
from firings.calculations.footprints import area_mm2
from firings.models import Piece
from studio.actions.permits import require_role
from studio.actions.trail import record_deed
from studio.calculations.money import format_minor
from studio.models import Person, Role, Studio

REASON_LENGTH_MAX = 150


def refund_share(
    *,
    by: Person,
    at: datetime,
    share: Share,
    reason: str,
    amount_minor: int | None = None,
    basis_points: int | None = None,
    piece: Piece | None = None,
) -> Refund:
    """Give back an amount, or a percentage, of what a booking or one of its pieces was charged.

    The studio carries it. All refunds that stand are together never more than the share, and
    those of a piece never more than its part of it. The account reads the reason.
    """
    require_role(by, Role.CREW, Role.TREASURER, Role.MANAGER)
    with transaction.atomic(durable=True):
        hold_ledger()
        share = Share.objects.select_related("account", "booking", "cost__firing").get(pk=share.pk)
        reason = _checked_reason(reason)
        _check_stands(share)
        of_minor = share.amount_minor if piece is None else piece_part_minor(share, piece)
        given_minor = _given_minor(of_minor, amount_minor, basis_points)
        _check_left(share, piece, of_minor, given_minor)
        number = Refund.objects.filter(share=share).count() + 1
        name = f"slip {share.booking.slip}{f', {piece.name}' if piece else ''}"
        entry = post_entry(
            by=by,
            at=at,
            on=local_day(at),
            text=f"Refund, {name}: {reason}",
            source=f"refund:{share.pk}:{number}",
            legs=[
                Leg(open_account(REFUNDS), given_minor, f"{share.cost.firing}, {name}: {reason}"),
                Leg(receivable_of(share.account), -given_minor, f"Refund, {name}"),
            ],
            reason=reason,
        )
        refund = Refund.objects.create(
            share=share,
            account=share.account,
            piece=piece,
            amount_minor=given_minor,
            basis_points=basis_points,
            reason=reason,
            made_by=by,
            made_at=at,
            entry=entry,
        )
        record_deed(share.cost, "refunded", by=by, at=at, why=reason, amount_minor=given_minor)
    return refund


def refunded_minor(share: Share, piece: Piece | None = None) -> int:
    """What has been given back of a share, or for one piece of it; reversed ones do not count."""
    standing = Refund.objects.filter(share=share, entry__reversed_by=None)
    if piece is not None:
        standing = standing.filter(piece=piece)
    return standing.aggregate(sum=Sum("amount_minor"))["sum"] or 0


def piece_part_minor(share: Share, piece: Piece) -> int:
    """A piece's part of what its booking was charged, by its footprint (largest remainder, ties
    to the piece noted first)."""
    pieces = list(share.booking.pieces.order_by("pk"))
    if piece.pk not in {one.pk for one in pieces}:
        raise BillingRefusal(
            "piece_of_another_booking",
            f"This piece does not belong to slip {share.booking.slip}.",
            field="piece",
            status=422,
        )
    areas = [(one.pk, _footprint_mm2(one)) for one in pieces]
    return largest_remainder(share.amount_minor, areas)[piece.pk]


def _footprint_mm2(piece: Piece) -> int:
    footprint = footprint_of(piece)
    return 1 if footprint is None else area_mm2(footprint)


def _given_minor(of_minor: int, amount_minor: int | None, basis_points: int | None) -> int:
    if (amount_minor is None) == (basis_points is None):
        raise _wrong("refund_unclear", "Give either an amount or a percentage.", "amount_minor")
    if basis_points is not None:
        if not 1 <= basis_points <= WHOLE_BP:
            raise _wrong("refund_wrong", "More than 0 and no more than 100 %.", "percent")
        amount_minor = part_of(of_minor, basis_points, WHOLE_BP)
    if amount_minor is None or amount_minor <= 0:
        raise _wrong("refund_wrong", "That comes to nothing. Give back more.", "amount_minor")
    return amount_minor


def _checked_reason(reason: str) -> str:
    reason = require_reason(reason)
    if len(reason) > REASON_LENGTH_MAX:
        raise _wrong("reason_too_long", f"At most {REASON_LENGTH_MAX} letters.", "reason")
    return reason


def _check_stands(share: Share) -> None:
    if share.cost.reversed_at is not None:
        raise BillingRefusal(
            "charge_taken_back",
            f"The cost of {share.cost.firing} was taken back: nothing of it is charged any more.",
        )
    if share.amount_minor == 0:
        raise BillingRefusal(
            "nothing_charged", f"Nothing was charged for slip {share.booking.slip}."
        )


def _check_left(share: Share, piece: Piece | None, of_minor: int, given_minor: int) -> None:
    left_minor = share.amount_minor - refunded_minor(share)
    if piece is not None:
        left_minor = min(left_minor, of_minor - refunded_minor(share, piece))
    if given_minor > left_minor:
        studio = Studio.current()
        left = format_minor(max(left_minor, 0), studio.currency, studio.language)
        what = "this piece" if piece else f"slip {share.booking.slip}"
        raise BillingRefusal(
            "refund_too_much",
            f"Of what was charged for {what}, {left} can still be given back.",
            field="amount_minor",
            left_minor=max(left_minor, 0),
        )


def _wrong(code: str, message: str, field: str) -> BillingRefusal:
    return BillingRefusal(code, message, field=field, status=422)
