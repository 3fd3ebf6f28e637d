"""Why a slip stays out of a load: stored with the firing, said in the unit of who reads it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import cast

from firings.actions.load_record import StandingLoad
from firings.actions.size_words import limit_words, no_room_for_cones
from firings.calculations.kiln_space import SizeLimit
from firings.calculations.load_plan import LoadPlan, WhyLeftOut
from firings.models import Booking, Firing, StaysOut, WhyOut
from studio.models import Person

WHY = {
    WhyLeftOut.TOO_BIG: WhyOut.TOO_BIG,
    WhyLeftOut.NO_ROOM: WhyOut.NO_ROOM,
    WhyLeftOut.NO_ROOM_FOR_CONES: WhyOut.NO_ROOM_FOR_CONES,
    WhyLeftOut.TOO_TALL_BESIDE_LOCKED: WhyOut.TOO_TALL,
    WhyLeftOut.WRONG_CONE: WhyOut.WRONG_CONE,
    WhyLeftOut.NOT_DRY: WhyOut.NOT_DRY,
    WhyLeftOut.FORBIDDEN: WhyOut.KEPT_OUT,
    WhyLeftOut.GROUP_HAS_NO_ROOM: WhyOut.NO_ROOM,
}
NOTHING_MORE = (WhyLeftOut.NO_ROOM, WhyLeftOut.GROUP_HAS_NO_ROOM)


@dataclass(frozen=True)
class Out:
    """One reason; `told` is the sentence of the rule that refused the slip, if one did."""

    why: WhyOut
    piece_name: str = ""
    limits: tuple[SizeLimit, ...] = ()
    told: str = ""

    @staticmethod
    def of(booking: Booking, plan: LoadPlan, load: StandingLoad) -> Out:
        """What the planner says of the first piece that it says more of than `no room`."""
        left = {one.piece_id: one for one in plan.left_out}
        mine = [(piece, left.get(str(piece.pk))) for piece in booking.pieces.all()]
        telling = [(p, one) for p, one in mine if one and one.why not in NOTHING_MORE]
        if not telling:
            return Out(WhyOut.NO_ROOM)
        piece, one = telling[0]
        return Out(WHY.get(one.why, WhyOut.NO_ROOM), piece.name, one.limits)


def write_stays_out(
    firing: Firing, out: Mapping[Booking, Out], *, reader: Person
) -> dict[Booking, str]:
    """Replace what is known of slips that stay out of this firing; answer the sentences."""
    firing.stay_out.all().delete()
    rows = [
        StaysOut(
            firing=firing,
            booking=booking,
            why=one.why,
            piece_name=one.piece_name,
            limits=[[limit.limit, list(limit.size_mm), limit.most_mm] for limit in one.limits],
            told=one.told[:500],
        )
        for booking, one in out.items()
    ]
    StaysOut.objects.bulk_create(rows)
    return {row.booking: stays_out_words(row, reader) for row in rows}


def stays_out_words(row: StaysOut, reader: Person | None) -> str:
    """Why, as a sentence."""
    if row.told:
        return row.told
    if row.why == WhyOut.TOO_BIG and row.limits:
        limits = [SizeLimit(limit, tuple(sizes), most) for limit, sizes, most in row.limits]
        return f"{row.piece_name}: {limit_words(limits, reader)}"
    if row.why == WhyOut.NO_ROOM_FOR_CONES:
        return no_room_for_cones(reader)
    return SENTENCES[cast(WhyOut, row.why)]


SENTENCES = {
    WhyOut.TOO_TALL: "It is too tall to stand beside or above what is locked.",
    WhyOut.TOO_BIG: "It is too big for this kiln.",
    WhyOut.WRONG_CONE: "It is for another stage or cone, or its clay or glaze is.",
    WhyOut.NOT_DRY: "It is not dry yet.",
    WhyOut.KEPT_OUT: "Crew keep it out of this firing.",
    WhyOut.NO_ROOM: "There is no room left for it in this load.",
    WhyOut.NO_ROOM_FOR_CONES: "With it in the kiln no place is left for the witness cones.",
}
