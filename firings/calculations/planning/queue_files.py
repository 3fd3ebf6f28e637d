"""A queue as a JSON document, and a plan as one: for crew with a spreadsheet, and for measuring.

Lengths are mm, dates ISO 8601. Seen from above, the middle of the chamber is (0, 0), x goes right
and y goes back. A queue names its kiln, the gaps between pieces, and the pieces; a plan names the
firings in order of date, their layers from the bottom up with the posts under each shelf, and
where each piece stands.
"""

import math
from collections.abc import Mapping
from datetime import date
from typing import Any

from firings.calculations.footprints import Disc, Footprint, Rectangle
from firings.calculations.kiln_space import KilnSpace, Stack
from firings.calculations.load_plan import Placement, PlannedLayer
from firings.calculations.planning.problem import PlannedFiring, Queue, QueuePiece, QueuePlan
from firings.calculations.shelves import Chamber, Shelf

Document = Mapping[str, Any]
SIZES = ("diameter_mm", "across_flats_mm", "width_mm", "depth_mm")
STAGES = ("bisque", "glaze")
PLACE_DIGITS = 4


def read_queue(document: Document) -> Queue:
    """The queue that a JSON document describes.

    Raises ValueError naming the field, and the piece, that cannot be read.
    """
    kiln = _part(document, "kiln")
    gaps = _part(document, "gaps")
    rows = _value(document, "pieces", list)
    return Queue(
        name=_value(document, "name", str),
        today=_day(document, "today"),
        days_between_firings=_whole(document, "days_between_firings"),
        space=_space(kiln, gaps),
        gap_mm={stage: _number(gaps, f"{stage}_mm") for stage in STAGES},
        pieces=tuple(_piece(row, number) for number, row in enumerate(rows, start=1)),
    )


def plan_document(queue: Queue, plan: QueuePlan) -> dict[str, Any]:
    """A plan, ready to be written as JSON."""
    return {
        "queue": queue.name,
        "firings": [
            {
                "fire_on": firing.fire_on.isoformat(),
                "stage": firing.stage,
                "cone": firing.cone,
                "layers": [
                    {
                        "stack": layer.stack,
                        "posts_mm": list(layer.post_mm),
                        "pieces": [_put(put) for put in layer.placements],
                    }
                    for layer in firing.layers
                ],
            }
            for firing in plan.firings
        ],
    }


def read_plan(queue: Queue, document: Document) -> QueuePlan:
    """The plan that a JSON document holds for this queue; what it does not fire is waiting.

    Raises ValueError naming what cannot be read. Whether the plan can be carried out is another
    question: see `queue_plan_check`.
    """
    firings = tuple(_firing(queue, row) for row in _value(document, "firings", list))
    fired = {piece_id for firing in firings for piece_id in firing.piece_ids}
    return QueuePlan(firings, tuple(piece.id for piece in queue.pieces if piece.id not in fired))


def _put(put: Placement) -> dict[str, Any]:
    return {
        "id": put.piece_id,
        "x_mm": round(put.x_mm, PLACE_DIGITS),
        "y_mm": round(put.y_mm, PLACE_DIGITS),
        "turn_deg": round(put.turn_deg, PLACE_DIGITS),
    }


def _firing(queue: Queue, row: Document) -> PlannedFiring:
    stacks = {stack.name: stack for stack in queue.space.stacks}
    surface_mm = dict.fromkeys(stacks, 0)
    counts = dict.fromkeys(stacks, 0)
    layers = []
    for layer in _value(row, "layers", list):
        name = _value(layer, "stack", str)
        if name not in stacks:
            raise ValueError(f"stack must be one of {', '.join(stacks)}, got {name!r}")
        posts = _wholes(layer, "posts_mm")
        counts[name] += 1
        bottom_mm = surface_mm[name] + sum(posts)
        surface_mm[name] = bottom_mm + stacks[name].shelf.thickness_mm
        placements = tuple(
            Placement(
                _value(put, "id", str),
                _number(put, "x_mm"),
                _number(put, "y_mm"),
                _number(put, "turn_deg") if "turn_deg" in put else 0,
            )
            for put in _value(layer, "pieces", list)
        )
        layers.append(PlannedLayer(name, counts[name], posts, bottom_mm, placements))
    return PlannedFiring(
        _day(row, "fire_on"), _value(row, "stage", str), _value(row, "cone", str), tuple(layers)
    )


# ---- the kiln


def _space(kiln: Document, gaps: Document) -> KilnSpace:
    chamber, posts = _part(kiln, "chamber"), _part(kiln, "posts")
    thickness_mm = _whole(kiln, "shelf_thickness_mm")
    return KilnSpace(
        chamber=Chamber(
            _shape(chamber, "round", "octagon", "rectangle"),
            _whole(chamber, "height_mm"),
            **_sizes(chamber),
        ),
        stacks=tuple(_stack(row, thickness_mm) for row in _value(kiln, "stacks", list)),
        post_heights_mm=_wholes(posts, "heights_mm"),
        keep_from_wall_mm=_number(kiln, "keep_from_wall_mm"),
        posts_stacked_at_most=_whole(posts, "stacked_at_most"),
        post_width_mm=_whole(posts, "width_mm"),
        lowest_post_mm=_number(posts, "lowest_mm"),
        gap_to_posts_mm=_number(gaps, "to_posts_mm"),
        gap_above_mm=_whole(gaps, "above_mm"),
    )


def _stack(row: Document, thickness_mm: int) -> Stack:
    outline = _part(row, "shelf")
    shape = _shape(outline, "round", "octagon", "rectangle", "half_round")
    more: dict[str, Any] = dict(_sizes(outline))
    if shape == "half_round":
        more |= {"side": _value(outline, "side", str), "cut_at_mm": _number(outline, "cut_at_mm")}
    if "centre_mm" in outline:
        more["centre_mm"] = _place(outline["centre_mm"], "centre_mm")
    places = _value(row, "posts_at_mm", list)
    return Stack(
        _value(row, "name", str),
        Shelf(shape, thickness_mm, **more),
        _whole(row, "shelves"),
        tuple(_place(place, "posts_at_mm") for place in places),
    )


def _shape(row: Document, *known: str) -> Any:
    shape = _value(row, "shape", str).replace(" ", "_")
    if shape not in known:
        raise ValueError(f"shape must be one of {', '.join(known)}, got {row['shape']!r}")
    return shape


def _sizes(row: Document) -> dict[str, int]:
    return {name: _whole(row, name) for name in SIZES if name in row}


def _place(value: Any, name: str) -> tuple[float, float]:
    if not isinstance(value, list) or len(value) != 2 or not all(map(_is_number, value)):
        raise ValueError(f"{name} must be two numbers, x and y in mm, got {value!r}")
    return float(value[0]), float(value[1])


# ---- the pieces


def _piece(row: Any, number: int) -> QueuePiece:
    named = row.get("id") if isinstance(row, Mapping) else None
    try:
        return _named_piece(row, number)
    except ValueError as error:
        raise ValueError(f"piece {number} ({named or 'without id'}): {error}") from error


def _named_piece(row: Any, number: int) -> QueuePiece:
    if not isinstance(row, Mapping):
        raise ValueError(f"a piece must be an object, got {row!r}")
    stage = _value(row, "stage", str)
    if stage not in STAGES:
        raise ValueError(f"stage must be one of {', '.join(STAGES)}, got {stage!r}")
    return QueuePiece(
        id=_value(row, "id", str),
        member=str(row.get("member", "")),
        stage=stage,
        cone=_value(row, "cone", str),
        footprint=_footprint(row),
        height_mm=_whole(row, "height_mm"),
        ready_on=_day(row, "ready_on"),
        due_on=_day(row, "due_on") if row.get("due_on") else None,
        booked_order=number,
        kind=str(row.get("kind", "")),
    )


def _footprint(row: Document) -> Footprint:
    if "diameter_mm" in row:
        return Disc(_whole(row, "diameter_mm"))
    if "width_mm" in row or "depth_mm" in row:
        return Rectangle(_whole(row, "width_mm"), _whole(row, "depth_mm"))
    raise ValueError("give either diameter_mm, or width_mm and depth_mm")


# ---- one field


def _part(row: Any, name: str) -> Document:
    part: Document = _value(row, name, dict)
    return part


def _value(row: Any, name: str, kind: type) -> Any:
    if not isinstance(row, Mapping) or name not in row:
        raise ValueError(f"{name} is missing")
    value = row[name]
    if not isinstance(value, kind) or isinstance(value, bool):
        raise ValueError(f"{name} must be {_KINDS[kind]}, got {value!r}")
    return value


_KINDS = {str: "a text", list: "a list", dict: "an object", int: "a whole number"}


def _whole(row: Any, name: str) -> int:
    return int(_value(row, name, int))


def _wholes(row: Any, name: str) -> tuple[int, ...]:
    values = _value(row, name, list)
    for value in values:
        if isinstance(value, bool) or not isinstance(value, int):
            raise ValueError(f"{name} must be whole numbers, got {value!r}")
    return tuple(values)


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _number(row: Document, name: str) -> float:
    if name not in row:
        raise ValueError(f"{name} is missing")
    if not _is_number(row[name]):
        raise ValueError(f"{name} must be a number, got {row[name]!r}")
    return float(row[name])


def _day(row: Document, name: str) -> date:
    written = _value(row, name, str)
    try:
        return date.fromisoformat(written)
    except ValueError:
        raise ValueError(f"{name} must be a day such as 2026-03-02, got {written!r}") from None
