"""How one statement is paid: to whom, with which reference, and as a code that a bank app scans."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from io import BytesIO
from typing import Any

import segno
from segno import helpers

from billing.calculations.bank_details import grouped_iban, is_in_eea
from billing.calculations.payment_references import grouped_reference
from studio.calculations.money import from_minor

# EPC069-12 v2.1: EUR 0.01 to 999999999.99.
AMOUNT_MINOR_MAX = 99_999_999_999
# ISO/IEC 18004: four modules of white around the code.
QUIET_MODULES = 4


@dataclass(frozen=True)
class WayToPay:
    """As frozen in a statement. Payee, IBAN and BIC may be ""; an amount of 0 is nothing owed."""

    payee_name: str
    iban: str
    bic: str
    reference: str
    amount_minor: int
    currency: str

    @property
    def iban_in_groups(self) -> str:
        return grouped_iban(self.iban)

    @property
    def reference_in_groups(self) -> str:
        return grouped_reference(self.reference)


def way_to_pay_in(content: Mapping[str, Any]) -> WayToPay | None:
    """What a statement's frozen content says; None in one that was issued before it said so."""
    frozen = content.get("way_to_pay")
    return None if frozen is None else WayToPay(**frozen)


def transfer_qr(way: WayToPay) -> segno.QRCode | None:
    """The QR code of a SEPA credit transfer, level M and at most version 13; None without one.

    There is one for an amount of 0.01 or more in euros, to an IBAN with its payee; a bank outside
    the European Economic Area needs its BIC too.
    Source: EPC069-12 v2.1, version 002, structured reference (ISO 11649).
    """
    is_possible = (
        way.currency == "EUR"
        and 0 < way.amount_minor <= AMOUNT_MINOR_MAX
        and way.iban
        and way.payee_name
        and (way.bic or is_in_eea(way.iban))
    )
    if not is_possible:
        return None
    # UTF-8: scanners have to guess, and take some names in ISO 8859-1 for Japanese (seen).
    return helpers.make_epc_qr(
        name=way.payee_name,
        iban=way.iban,
        bic=way.bic or None,
        amount=from_minor(way.amount_minor, "EUR"),
        reference=way.reference,
        encoding="utf-8",
    )


def qr_svg_document(code: segno.QRCode) -> str:
    """The code as an SVG document of its own, black on white with its quiet zone."""
    written = BytesIO()
    code.save(
        written, kind="svg", border=QUIET_MODULES, light="white", xmldecl=False, omitsize=True
    )
    return written.getvalue().decode()
