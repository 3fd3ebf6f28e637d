"""How to pay, on the page: bank details, reference and the code that a bank app scans."""

from __future__ import annotations

from django.utils.safestring import SafeString, mark_safe

from billing.calculations.payment_references import reference_of
from billing.calculations.way_to_pay import QUIET_MODULES, WayToPay, transfer_qr
from billing.models import BillingPolicy
from studio.models import Account, Studio


def way_to_pay_now(
    account: Account, balance_minor: int, policy: BillingPolicy, studio: Studio
) -> WayToPay:
    """By today's settings, for what an account owes now."""
    return WayToPay(
        payee_name=policy.payee_name,
        iban=policy.iban,
        bic=policy.bic,
        reference=reference_of(account.number),
        amount_minor=max(balance_minor, 0),
        currency=studio.currency,
    )


def scan_svg(way: WayToPay | None) -> SafeString | None:
    """The code as inline SVG; its words stand in the page beside it."""
    code = None if way is None else transfer_qr(way)
    if code is None:
        return None
    svg = code.svg_inline(border=QUIET_MODULES, omitsize=True, svgclass=None, lineclass=None)
    return mark_safe(svg)  # noqa: S308 made by segno
