"""How long parts last, estimated anew: by a person, or learned when a part is replaced.

Nothing that was charged changes: what is left to save is spread over the life that is left
(IAS 16 paragraph 51 and IAS 8 on a change of estimate).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from datetime import datetime
from decimal import Decimal

from django.db import transaction
from django.db.models.fields.json import KT

from billing.actions.ledger import hold_ledger, require_reason
from billing.actions.wear_lines import charged_minor_of
from billing.calculations.reserves import learned_life
from billing.models import CostLine, LifeEstimate
from billing.refusals import BillingRefusal
from firings.models import KilnPart
from studio.actions.permits import require_role
from studio.actions.trail import record_deed
from studio.models import Person, Role

COST_MINOR_MAX = 10**9
LIFE_MAX = Decimal(100_000)


def estimate_part_anew(
    *,
    by: Person,
    at: datetime,
    part: KilnPart,
    replacement_cost_minor: int,
    expected_life: Decimal,
    reason: str,
) -> LifeEstimate:
    """Say anew what replacing a part costs or how long it lasts, from the next firing on."""
    require_role(by, Role.MANAGER, Role.TREASURER)
    with transaction.atomic(durable=True):
        hold_ledger()
        part = KilnPart.objects.select_for_update().get(pk=part.pk)
        reason = require_reason(reason)
        if part.retired_on is not None:
            raise BillingRefusal("part_retired", f"{part} was replaced on {part.retired_on}.")
        used = units_used([part.pk])[part.pk]
        _check(replacement_cost_minor, expected_life, used)
        charged_minor = charged_minor_of(KilnPart.objects.filter(pk=part.pk)).get(part.pk, 0)
        estimate = LifeEstimate.objects.create(
            part=part,
            replacement_cost_minor=replacement_cost_minor,
            expected_life=expected_life,
            charged_minor=charged_minor,
            units_used=used,
            reason=reason,
            made_by=by,
            made_at=at,
        )
        part.replacement_cost_minor = replacement_cost_minor
        part.expected_life = expected_life
        part.save(update_fields=["replacement_cost_minor", "expected_life"])
        record_deed(
            part, "estimated anew", by=by, at=at, why=reason,
            expected_life=str(expected_life), cost_minor=replacement_cost_minor,
        )  # fmt: skip
    return estimate


def learn_from_replacement(
    part: KilnPart, fitted: KilnPart, *, by: Person | None, at: datetime
) -> None:
    """The inner part of a replacement: the new part is expected to last as its forerunners did.

    The mean of the first estimate and of each life that was seen since; what a person estimated
    anew stands for all that came before. A part that no firing has used teaches nothing.
    """
    observed = units_used([part.pk])[part.pk]
    if observed <= 0:
        return
    life = learned_life(part.expected_life, observed, _weight_of(part))
    if life <= 0 or life == fitted.expected_life:
        return
    fitted.expected_life = life
    fitted.save(update_fields=["expected_life"])
    record_deed(
        fitted, "life learned", by=by, at=at, expected_life=str(life), observed=str(observed)
    )


def _weight_of(part: KilnPart) -> int:
    """How many lives the estimate of a part stands on: its own first one, and those seen before."""
    if LifeEstimate.objects.filter(part=part).exists():
        return 1
    before = KilnPart.objects.filter(
        kiln=part.kiln_id,
        kind=part.kind,
        name=part.name,
        life_unit=part.life_unit,
        pk__lt=part.pk,
        retired_on__isnull=False,
    )
    used = units_used(before.values_list("pk", flat=True))
    return 1 + sum(1 for units in used.values() if units > 0)


def units_used(parts: Iterable[int]) -> dict[int, Decimal]:
    """The life that firings have used of parts, by their keys; taken back costs do not count."""
    used: dict[int, Decimal] = defaultdict(Decimal)
    lines = CostLine.objects.filter(part__in=list(parts), cost__reversed_at=None).order_by()
    # as text: plain keys of JSON come back as floats on SQLite
    for pk, units in lines.values_list("part", KT("working__units")):
        if pk is not None:
            used[pk] += Decimal(units)
    return used


def _check(cost_minor: int, life: Decimal, used: Decimal) -> None:
    if not 0 <= cost_minor <= COST_MINOR_MAX:
        raise BillingRefusal(
            "absurd_cost", "The cost cannot be.", field="replacement_cost_minor", status=422
        )
    if not 0 < life <= LIFE_MAX:
        raise BillingRefusal(
            "absurd_life",
            "Expected life lies above 0 and up to 100,000.",
            field="expected_life",
            status=422,
        )
    if life <= used:
        raise BillingRefusal(
            "life_used_up",
            f"It has been used for {used.normalize():f} already. Expect more of it, or replace it.",
            field="expected_life",
        )
