"""The palette of clays, glazes and sizes, and the rules of the studio: what a manager edits."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any, TypeVar

from django.core.exceptions import ValidationError
from django.db import models, transaction

from firings.calculations.bisque_bundles import NESTED_AT_MOST
from firings.calculations.cones import CONES, cone_rank
from firings.models import Clay, FiringPolicy, Glaze, PieceSize
from firings.refusals import WareRefusal
from studio.actions.permits import require_role
from studio.actions.trail import record_deed
from studio.models import Person, Role

Record = TypeVar("Record", bound=models.Model)

CLAY_FIELDS = (
    "name", "cone_low", "cone_high", "bisque_cone_low", "bisque_cone_high", "is_offered", "note",
)  # fmt: skip
GLAZE_FIELDS = ("name", "cone_low", "cone_high", "is_offered", "note")
SIZE_FIELDS = ("name", "shape", "across_mm", "depth_mm", "height_mm", "position", "is_offered")
POLICY_RANGES = {
    "opening_limit_c": (30, 260),
    "glaze_gap_mm": (1, 50),
    "bisque_gap_mm": (0, 50),
    "bowls_nested_at_most": (1, NESTED_AT_MOST),
    "lowest_post_mm": (13, 100),
    "gap_above_mm": (0, 100),
    "gap_to_posts_mm": (0, 50),
    "wait_percent_per_day": (0, 100),
    "waits_at_most_days": (0, 365),
    # below the time limit of a task
    "search_seconds_at_most": (5, 40),
    "room_limit_c": (20, 60),
    "control_box_limit_c": (30, 100),
}
SWITCHES = ("lids_on_jars", "tiles_on_edge")
LISTS = ("bisque_cones", "glaze_cones", "pick_up_places")


def set_clay(
    *, by: Person, at: datetime, fields: Mapping[str, Any], clay: Clay | None = None
) -> Clay:
    """Add a clay body, or change one. Bookings check the ranges as they are then."""
    return _set(clay or Clay(), CLAY_FIELDS, fields, by=by, at=at)


def set_glaze(
    *, by: Person, at: datetime, fields: Mapping[str, Any], glaze: Glaze | None = None
) -> Glaze:
    """Add a glaze, or change one."""
    return _set(glaze or Glaze(), GLAZE_FIELDS, fields, by=by, at=at)


def set_piece_size(
    *, by: Person, at: datetime, fields: Mapping[str, Any], size: PieceSize | None = None
) -> PieceSize:
    """Add a size to the palette, or change one. Bookings made keep their own sizes."""
    return _set(size or PieceSize(), SIZE_FIELDS, fields, by=by, at=at)


def edit_firing_policy(*, by: Person, at: datetime, fields: Mapping[str, Any]) -> FiringPolicy:
    """Change the studio's rules for queues, loads and openings, within what can be."""
    require_role(by, Role.MANAGER)
    with transaction.atomic(durable=True):
        policy = FiringPolicy.current()
        for name, (low, high) in POLICY_RANGES.items():
            if name in fields:
                if not low <= fields[name] <= high:
                    raise WareRefusal(
                        "out_of_range", f"This must lie between {low} and {high}.", field=name
                    )
                setattr(policy, name, fields[name])
        for name in SWITCHES:
            if name in fields:
                setattr(policy, name, bool(fields[name]))
        for name in LISTS:
            if name in fields:
                setattr(policy, name, list(fields[name]))
        for name in ("bisque_cones", "glaze_cones"):
            unknown = [cone for cone in getattr(policy, name) if cone not in CONES]
            if unknown:
                raise WareRefusal("unknown_cone", f"There is no cone {unknown[0]!r}.", field=name)
        policy.save()
        record_deed(policy, "edited", by=by, at=at, fields=sorted(fields))
    return policy


def _set(
    record: Record, names: tuple[str, ...], fields: Mapping[str, Any], *, by: Person, at: datetime
) -> Record:
    require_role(by, Role.MANAGER)
    for name in names:
        if name in fields:
            setattr(record, name, fields[name])
    for low, high in (("cone_low", "cone_high"), ("bisque_cone_low", "bisque_cone_high")):
        if hasattr(record, low):
            _check_range(getattr(record, low), getattr(record, high), low)
    with transaction.atomic(durable=True):
        _check_name_is_free(record)
        try:
            record.full_clean()
        except ValidationError as error:
            field, messages = next(iter(error.message_dict.items()))
            raise WareRefusal(
                "not_valid",
                " ".join(messages),
                field=None if field == "__all__" else field,
                status=400,
            ) from error
        record.save()
        record_deed(record, "set", by=by, at=at)
    return record


def _check_name_is_free(record: models.Model) -> None:
    name = getattr(record, "name", "")
    if type(record)._default_manager.filter(name=name).exclude(pk=record.pk).exists():
        kind = record._meta.verbose_name
        raise WareRefusal(
            "name_taken", f"There is a {kind} called {name} already.", field="name", status=409
        )


def _check_range(low: str, high: str, field: str) -> None:
    for cone in (low, high):
        if cone not in CONES:
            raise WareRefusal(
                "unknown_cone", f"There is no cone {cone!r}. Mind the zero.", field=field
            )
    if cone_rank(low) > cone_rank(high):
        raise WareRefusal(
            "range_upside_down",
            f"Cone {low} is hotter than cone {high}: give the cooler cone first.",
            field=field,
        )
