"""Kilns are set up and kept: sizes, shelves, parts, keys for loggers, care."""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from firings.actions.kiln_space import space_of
from firings.actions.kiln_state import ask_first_firing, change_kiln_state, held_kiln
from firings.calculations.cones import CONES
from firings.facts import part_replaced
from firings.models import (
    Alloy,
    CareKind,
    CareTask,
    Firing,
    FiringPolicy,
    Kiln,
    KilnPart,
    KilnState,
    KilnToken,
    LifeUnit,
    PartKind,
    ShelfSet,
)
from firings.refusals import WareRefusal
from studio.actions.permits import require_role
from studio.actions.tokens import digest_of
from studio.actions.trail import record_deed
from studio.models import Person, Role, Studio

CHAMBER_MM = (100, 2000)
SHELF_MM = (50, 2000)
SHELVES_COUNT = (1, 50)
POSTS_STACKED = (1, 4)
POWER_W = (500, 200_000)
COST_MINOR_MAX = 10**9
SUPPLY_V = (100, 1000)
BREAKER_A = (5, 1000)
KILN_FIELDS = (
    "name",
    "room",
    "chamber_shape",
    "chamber_across_mm",
    "chamber_depth_mm",
    "chamber_height_mm",
    "thermocouple_height_mm",
    "keep_from_wall_mm",
    "rated_power_w",
    "supply_v",
    "breaker_a",
    "vent",
    "cone_limit",
    "post_heights_mm",
    "posts_stacked_at_most",
    "post_width_mm",
    "witness_every_firings",
    "meter_class_percent",
    "thermocouple_type",
    "thermocouple_class",
    "in_use_since",
    "note",
)


@dataclass(frozen=True)
class ShelvesWanted:
    """A shelf set as typed: lengths in mm; `depth_mm` only of rectangular shelves."""

    shape: str
    across_mm: int
    thickness_mm: int
    count: int
    depth_mm: int | None = None


def add_kiln(
    *, by: Person, at: datetime, shelves: ShelvesWanted, fields: Mapping[str, Any]
) -> Kiln:
    """Add a kiln with its standard shelves. A new kiln must first be fired empty."""
    require_role(by, Role.MANAGER)
    with transaction.atomic(durable=True):
        kiln = Kiln(**{name: fields[name] for name in KILN_FIELDS if name in fields})
        _check_kiln(kiln)
        kiln.save()
        _write_shelves(kiln, shelves)
        _check_can_be_planned(kiln)
        CareTask.objects.create(kiln=kiln, kind=CareKind.FIRST_FIRING, due_since=at)
        record_deed(kiln, "added", by=by, at=at, to_state=kiln.state)
    return kiln


def edit_kiln(*, by: Person, at: datetime, kiln: Kiln, fields: Mapping[str, Any]) -> Kiln:
    """Change what the kiln's plate and set-up say. Its state has actions of its own."""
    require_role(by, Role.MANAGER)
    with transaction.atomic(durable=True):
        kiln = held_kiln(kiln.pk)
        changed = [name for name in KILN_FIELDS if name in fields]
        for name in changed:
            setattr(kiln, name, fields[name])
        _check_kiln(kiln)
        kiln.save()
        _check_can_be_planned(kiln)
        record_deed(kiln, "edited", by=by, at=at, fields=changed)
    return kiln


def set_shelves(*, by: Person, at: datetime, kiln: Kiln, shelves: ShelvesWanted) -> ShelfSet:
    """Give a kiln its standard shelves. Loads that stand on the old ones keep them."""
    require_role(by, Role.MANAGER, Role.CREW)
    with transaction.atomic(durable=True):
        kiln = held_kiln(kiln.pk)
        shelf_set = _write_shelves(kiln, shelves)
        _check_can_be_planned(kiln)
        record_deed(kiln, "shelves set", by=by, at=at, shelves=str(shelf_set))
    return shelf_set


def take_out_of_service(*, by: Person, at: datetime, kiln: Kiln, reason: str) -> Kiln:
    """Nobody starts this kiln until it is back."""
    require_role(by, Role.MANAGER, Role.CREW)
    if not reason.strip():
        raise WareRefusal("reason_missing", "Say why the kiln is taken out of service.")
    with transaction.atomic(durable=True):
        return _set_state(
            kiln, KilnState.OUT_OF_SERVICE, "out of service", by=by, at=at, why=reason
        )


def return_to_service(
    *, by: Person, at: datetime, kiln: Kiln, needs_first_firing: bool = True, reason: str = ""
) -> Kiln:
    """Back from repair. New elements or bricks mean an empty first firing before any load.

    Without it, a reason is written down; a first firing that was still due falls away with it.
    """
    require_role(by, Role.MANAGER)
    state = KilnState.FIRST_FIRING_DUE if needs_first_firing else KilnState.IN_SERVICE
    if not needs_first_firing and not reason.strip():
        raise WareRefusal(
            "reason_missing",
            "A kiln back from repair is first fired empty. If that is not needed, say why.",
            field="reason",
        )
    with transaction.atomic(durable=True):
        kiln = held_kiln(kiln.pk)
        if kiln.state != KilnState.OUT_OF_SERVICE:
            raise WareRefusal("not_out_of_service", f"{kiln} is not out of service.")
        kiln = _set_state(kiln, state, "returned to service", by=by, at=at, why=reason)
        done = [CareKind.REPAIR]
        if needs_first_firing:
            ask_first_firing(kiln, at)
        else:
            done.append(CareKind.FIRST_FIRING)
        kiln.care_tasks.filter(kind__in=done, done_at=None).update(done_at=at, done_by=by)
    return kiln


def add_part(
    *,
    by: Person,
    at: datetime,
    kiln: Kiln,
    kind: str,
    name: str,
    replacement_cost_minor: int,
    life_unit: str,
    expected_life: Decimal,
    fitted_on: date,
    alloy: str = Alloy.A1,
) -> KilnPart:
    """Note a part that wears, what it costs to replace and how long it is expected to last."""
    require_role(by, Role.MANAGER, Role.TREASURER)
    _check_part(kind, life_unit, replacement_cost_minor, expected_life, alloy)
    if fitted_on > _local_day(at):
        raise WareRefusal(
            "fitted_in_the_future", "A part is noted once it is fitted.", field="fitted_on"
        )
    with transaction.atomic(durable=True):
        part = KilnPart.objects.create(
            kiln=kiln,
            kind=kind,
            name=name,
            replacement_cost_minor=replacement_cost_minor,
            life_unit=life_unit,
            expected_life=expected_life,
            alloy=alloy,
            fitted_on=fitted_on,
        )
        record_deed(part, "fitted", by=by, at=at)
    return part


def replace_part(
    *,
    by: Person,
    at: datetime,
    part: KilnPart,
    reason: str = "",
    cost_minor: int | None = None,
) -> KilnPart:
    """Retire a part and fit its like. New elements mean an empty first firing.

    `cost_minor` is what it cost this time, which the new part is expected to cost as well; None
    for what was expected of the old one. Announces `part_replaced`, and whoever listens may
    expect another life of the new part.

    A kiln that is out of service stays so: putting it back is a deed of its own.
    """
    require_role(by, Role.MANAGER)
    if cost_minor is not None and not 0 <= cost_minor <= COST_MINOR_MAX:
        raise WareRefusal("absurd_cost", "The cost cannot be.", field="cost_minor")
    with transaction.atomic(durable=True):
        kiln = held_kiln(part.kiln_id)
        part = KilnPart.objects.select_for_update().get(pk=part.pk)
        if part.retired_on:
            raise WareRefusal("part_retired", f"{part} was replaced on {part.retired_on}.")
        if Firing.objects.taking_the_kiln().filter(kiln=kiln).exists():
            raise WareRefusal(
                "kiln_is_taken", "Parts are replaced when the kiln is empty, cold and disconnected."
            )
        today = _local_day(at)
        paid_minor = part.replacement_cost_minor if cost_minor is None else cost_minor
        part.retired_on = today
        part.save(update_fields=["retired_on"])
        fitted = KilnPart.objects.create(
            kiln=kiln,
            kind=part.kind,
            name=part.name,
            replacement_cost_minor=paid_minor or part.replacement_cost_minor,
            life_unit=part.life_unit,
            expected_life=part.expected_life,
            alloy=part.alloy,
            fitted_on=today,
        )
        record_deed(part, "replaced", by=by, at=at, why=reason, by_part=fitted.pk)
        part_replaced.send(
            sender=KilnPart, part=part, fitted=fitted, cost_minor=paid_minor, by=by, at=at
        )
        if part.kind == PartKind.ELEMENT:
            ask_first_firing(kiln, at)
            if kiln.state == KilnState.IN_SERVICE:
                change_kiln_state(
                    kiln, KilnState.FIRST_FIRING_DUE, "new elements", by=by, at=at, why=reason
                )
    return fitted


def finish_care(*, by: Person, at: datetime, task: CareTask) -> CareTask:
    """A care task is done. A first firing is done only by firing."""
    require_role(by, Role.CREW, Role.MANAGER)
    if task.kind == CareKind.FIRST_FIRING:
        raise WareRefusal("fire_it", "This is done by firing the kiln empty, and closing it.")
    with transaction.atomic(durable=True):
        task = CareTask.objects.select_for_update().get(pk=task.pk)
        if task.done_at:
            raise WareRefusal("done_already", "This was done already.")
        task.done_at, task.done_by = at, by
        task.save(update_fields=["done_at", "done_by"])
    return task


def issue_kiln_token(*, by: Person, at: datetime, kiln: Kiln, name: str) -> tuple[KilnToken, str]:
    """Make a key for a logger or meter. The secret is shown this once; only its digest is kept."""
    require_role(by, Role.MANAGER)
    if not name.strip():
        raise WareRefusal("name_missing", "Name the logger that will use this key.", field="name")
    secret = secrets.token_urlsafe(32)
    with transaction.atomic(durable=True):
        token = KilnToken.objects.create(
            kiln=kiln, name=name.strip(), digest=digest_of(secret), created_at=at
        )
        record_deed(kiln, "logger key issued", by=by, at=at, token=token.pk, name=name)
    return token, secret


def revoke_kiln_token(*, by: Person, at: datetime, token: KilnToken) -> KilnToken:
    """The key stops working at once."""
    require_role(by, Role.MANAGER)
    with transaction.atomic(durable=True):
        token.revoked_at = token.revoked_at or at
        token.save(update_fields=["revoked_at"])
        record_deed(token.kiln, "logger key revoked", by=by, at=at, token=token.pk)
    return token


def _set_state(
    kiln: Kiln, state: KilnState, deed: str, *, by: Person, at: datetime, why: str
) -> Kiln:
    """The inner part: the caller has opened the transaction."""
    kiln = held_kiln(kiln.pk)
    if Firing.objects.taking_the_kiln().filter(kiln=kiln).exists():
        raise WareRefusal(
            "kiln_is_taken", f"{kiln} has ware in it: end or cancel its firing first."
        )
    change_kiln_state(kiln, state, deed, by=by, at=at, why=why)
    return kiln


def _local_day(at: datetime) -> date:
    return at.astimezone(Studio.current().zone).date()


def _check_kiln(kiln: Kiln) -> None:
    for field, what in (
        ("chamber_across_mm", "The chamber's width"),
        ("chamber_height_mm", "The chamber's height"),
        *([("chamber_depth_mm", "The chamber's depth")] if kiln.chamber_depth_mm else []),
    ):
        _check_between(getattr(kiln, field), CHAMBER_MM, f"{what} (mm)", field)
    if kiln.thermocouple_height_mm is not None:
        _check_between(
            kiln.thermocouple_height_mm,
            (1, kiln.chamber_height_mm),
            "The height of the thermocouple (mm) in this chamber",
            "thermocouple_height_mm",
        )
    _check_between(
        kiln.posts_stacked_at_most, POSTS_STACKED, "Posts stacked", "posts_stacked_at_most"
    )
    _check_between(kiln.rated_power_w, POWER_W, "The rated power (W)", "rated_power_w")
    _check_between(kiln.supply_v, SUPPLY_V, "The supply (V)", "supply_v")
    _check_between(kiln.breaker_a, BREAKER_A, "The breaker (A)", "breaker_a")
    if kiln.cone_limit not in CONES:
        raise WareRefusal(
            "unknown_cone", f"There is no cone {kiln.cone_limit!r}.", field="cone_limit"
        )
    heights = kiln.post_heights_mm
    if not heights or any(not isinstance(h, int) or not 5 <= h <= 600 for h in heights):
        raise WareRefusal(
            "posts_missing",
            "List the post heights you have, between 5 and 600 mm: at least one.",
            field="post_heights_mm",
        )
    kiln.post_heights_mm = sorted(set(heights))
    _full_clean(kiln)


def _write_shelves(kiln: Kiln, wanted: ShelvesWanted) -> ShelfSet:
    """The new standard set comes first; sets that a load still shows are kept behind it."""
    across = kiln.chamber_depth_mm or kiln.chamber_across_mm
    widest = max(across, kiln.chamber_across_mm)
    if wanted.across_mm > widest or (wanted.depth_mm or 0) > widest:
        raise WareRefusal(
            "shelf_too_wide",
            f"A shelf of {wanted.across_mm} mm does not go into a chamber of {widest} mm.",
            field="across_mm",
        )
    _check_between(wanted.count, SHELVES_COUNT, "The number of shelves", "count")
    shelf_set = ShelfSet(
        kiln=kiln,
        shape=wanted.shape,
        across_mm=wanted.across_mm,
        depth_mm=wanted.depth_mm,
        thickness_mm=wanted.thickness_mm,
        count=wanted.count,
        is_standard=True,
    )
    _full_clean(shelf_set)
    kiln.shelf_sets.update(is_standard=False)
    shelf_set.save()
    return shelf_set


def _check_can_be_planned(kiln: Kiln) -> None:
    """Sizes that pass one by one may still make no room that a load can be planned in."""
    try:
        space = space_of(kiln, FiringPolicy.current())
        for stack in space.stacks:
            space.ware_outline(stack)
    except ValueError as error:
        raise WareRefusal(
            "not_valid", f"No load can be planned in a kiln like this: {error}.", status=400
        ) from error


def _check_part(kind: str, life_unit: str, cost_minor: int, life: Decimal, alloy: str) -> None:
    if kind not in PartKind.values:
        raise WareRefusal("unknown_part", f"{kind!r} is no kind of part.", field="kind")
    if life_unit not in LifeUnit.values:
        raise WareRefusal("unknown_life_unit", "Count life in hours or firings.", field="life_unit")
    if alloy not in Alloy.values:
        raise WareRefusal("unknown_alloy", f"{alloy!r} is no alloy known here.", field="alloy")
    if not 0 <= cost_minor <= COST_MINOR_MAX:
        raise WareRefusal("absurd_cost", "The cost cannot be.", field="replacement_cost_minor")
    if not 0 < life <= 100_000:
        raise WareRefusal(
            "absurd_life", "Expected life lies above 0 and up to 100,000.", field="expected_life"
        )


def _check_between(value: int | None, bounds: tuple[int, int], what: str, field: str) -> None:
    if value is None or not bounds[0] <= value <= bounds[1]:
        raise WareRefusal(
            "out_of_range", f"{what} must lie between {bounds[0]} and {bounds[1]}.", field=field
        )


def _full_clean(record: Any) -> None:
    """Turn what the record's own constraints say into a refusal."""
    try:
        record.full_clean(exclude=["kiln"])
    except ValidationError as error:
        field, messages = next(iter(error.message_dict.items()))
        raise WareRefusal(
            "not_valid", " ".join(messages), field=None if field == "__all__" else field, status=400
        ) from error
