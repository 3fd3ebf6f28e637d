"""Why a piece cannot go into a kiln, said in the unit of who reads it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import cast

from firings.calculations.kiln_space import SizeLimit
from firings.calculations.load_plan import CONE_PACK_HEIGHT_MM
from studio.calculations.quantities import LengthUnit, format_length
from studio.models import Person, Studio


def length_words(length_mm: int, reader: Person | None) -> str:
    """A length in the unit of the reader, else of the studio: "46.1 cm"."""
    studio = Studio.current()
    chosen = (reader.length_unit if reader else "") or studio.length_unit
    return format_length(length_mm, cast(LengthUnit, chosen), studio.language.replace("-", "_"))


def limit_words(limits: Sequence[SizeLimit], reader: Person | None) -> str:
    """A sentence for each limit that a piece breaks."""
    return " ".join(_limit_sentence(limit, reader) for limit in limits)


def no_room_for_cones(reader: Person | None) -> str:
    """What a piece is told that fills the kiln so far that its witness cones find no place."""
    height = length_words(CONE_PACK_HEIGHT_MM, reader)
    return (
        f"With it in the kiln no place is left for the witness cones, which need {height} "
        "of height on a shelf that is not wholly booked."
    )


def _limit_sentence(limit: SizeLimit, reader: Person | None) -> str:
    most = length_words(limit.most_mm, reader)
    size = " × ".join(length_words(size_mm, reader) for size_mm in limit.size_mm)
    if limit.limit == "height":
        return f"It is {size} high; this kiln takes ware up to {most} high."
    widest = f"the widest round piece a shelf of this kiln takes is {most}"
    if len(limit.size_mm) > 1:
        return f"It is {size} across; no shelf takes it either way round ({widest})."
    return f"It is {size} across; {widest}."
