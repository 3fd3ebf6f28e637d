"""The treasurer's settings of cost sharing and statements."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from django.db import transaction

from billing.actions.ledger import hold_ledger
from billing.calculations.bank_details import read_bic, read_iban, read_payee
from billing.calculations.sharing_rules import PERCENT_MAX
from billing.models import BillingPolicy, FixedKind, SplitPolicy
from billing.refusals import BillingRefusal
from studio.actions.permits import require_role
from studio.actions.trail import record_deed
from studio.models import Person, Role

AMOUNT_MINOR_MAX = 1_000_000
PAYMENT_DAYS_MAX = 120
HOW_TO_PAY_LENGTH_MAX = 1000
# An IBAN or BIC as typed, with blanks between its groups.
TYPED_LENGTH_MAX = 60


def edit_billing_policy(
    *,
    by: Person,
    at: datetime,
    split_policy: str,
    consumables_per_firing_minor: int,
    handling_per_firing_minor: int,
    payment_days: int,
    fixed_kind: str = FixedKind.NONE,
    fixed_percent: int = 0,
    fixed_estimate_minor: int = 0,
    weighs_height: bool = False,
    minimum_charge_minor: int = 0,
    how_to_pay: str = "",
    payee_name: str = "",
    iban: str = "",
    bic: str = "",
) -> BillingPolicy:
    """Set how costs are shared and statements asked for, from the next firing and close on."""
    require_role(by, Role.TREASURER, Role.MANAGER)
    amounts = {
        "consumables_per_firing_minor": consumables_per_firing_minor,
        "handling_per_firing_minor": handling_per_firing_minor,
        "fixed_estimate_minor": fixed_estimate_minor,
        "minimum_charge_minor": minimum_charge_minor,
    }
    with transaction.atomic(durable=True):
        policy = hold_ledger()
        if split_policy not in SplitPolicy.values:
            raise _wrong("split_policy", "Choose who carries the empty area.")
        for name, amount_minor in amounts.items():
            if not 0 <= amount_minor <= AMOUNT_MINOR_MAX:
                raise _wrong(name, f"Between 0 and {AMOUNT_MINOR_MAX} minor units.")
        _check_fixed_part(fixed_kind, fixed_percent, fixed_estimate_minor)
        if not 1 <= payment_days <= PAYMENT_DAYS_MAX:
            raise _wrong("payment_days", f"Between 1 and {PAYMENT_DAYS_MAX} days to pay.")
        if len(how_to_pay) > HOW_TO_PAY_LENGTH_MAX:
            raise _wrong("how_to_pay", f"At most {HOW_TO_PAY_LENGTH_MAX} letters.")
        wanted = {
            "split_policy": split_policy,
            "fixed_kind": fixed_kind,
            "fixed_percent": fixed_percent,
            "weighs_height": weighs_height,
            **amounts,
            "payment_days": payment_days,
            "how_to_pay": how_to_pay.strip(),
            **_bank_details(payee_name, iban, bic),
        }
        changes = {
            name: {"from": getattr(policy, name), "to": value}
            for name, value in wanted.items()
            if getattr(policy, name) != value
        }
        for name, value in wanted.items():
            setattr(policy, name, value)
        policy.save(update_fields=list(wanted))
        record_deed(policy, "edited", by=by, at=at, changes=changes)
    return policy


def _check_fixed_part(kind: str, percent: int, estimate_minor: int) -> None:
    """A rule that is chosen needs its number: without one it would do nothing unseen."""
    if kind not in FixedKind.values:
        raise _wrong("fixed_kind", "Choose what all slips carry alike.")
    if not 0 <= percent <= PERCENT_MAX:
        raise _wrong("fixed_percent", f"Between 0 and {PERCENT_MAX} percent.")
    if kind == FixedKind.PERCENT and percent == 0:
        raise _wrong("fixed_percent", "Say how many percent of the electricity.")
    if kind == FixedKind.AMOUNT and estimate_minor == 0:
        raise _wrong("fixed_estimate_minor", "Say what heating the empty kiln costs.")


READERS: dict[str, Callable[[str], str]] = {
    "payee_name": read_payee,
    "iban": read_iban,
    "bic": read_bic,
}


def _bank_details(payee_name: str, iban: str, bic: str) -> dict[str, str]:
    """Where transfers go, as banks write it; refused when no transfer could reach it."""
    read: dict[str, str] = {}
    for name, typed in {"payee_name": payee_name, "iban": iban, "bic": bic}.items():
        try:
            read[name] = READERS[name](typed)
        except ValueError as error:
            raise _wrong(name, str(error)) from error
    if read["iban"] and not read["payee_name"]:
        raise _wrong("payee_name", "Banks ask for the name of the account's holder with an IBAN.")
    if read["bic"] and not read["iban"]:
        raise _wrong("iban", "A BIC says nothing without its IBAN: add it, or clear the BIC.")
    return read


def _wrong(field: str, message: str) -> BillingRefusal:
    return BillingRefusal(f"{field}_wrong", message, field=field, status=422)
