"""IBAN, BIC and payee as people type them, brought into the form that banks exchange."""

from __future__ import annotations

from stdnum import bic as bic_numbers
from stdnum import iban as iban_numbers
from stdnum.exceptions import InvalidChecksum, InvalidComponent, ValidationError

# EPC069-12 v2.1: the name of the beneficiary has 1 to 70 characters, and the whole QR code at
# most 331 bytes. 210 bytes for the name leave room for the longest of everything else.
PAYEE_LENGTH_MAX = 70
PAYEE_BYTES_MAX = 210
# ISO 13616: an IBAN has at most 34 characters; ISO 9362: a BIC has 8 or 11.
IBAN_LENGTH_MAX = 34
BIC_LENGTH_MAX = 11

# The 27 members of the European Union with Iceland, Liechtenstein and Norway (ISO 3166-1).
_EEA_CODES = (
    "AT BE BG CY CZ DE DK EE ES FI FR GR HR HU IE IS IT LI LT LU LV MT NL NO PL PT RO SE SI SK"
)
EEA = frozenset(_EEA_CODES.split())


def read_iban(typed: str) -> str:
    """The IBAN without blanks, in capitals; "" for nothing typed.

    ValueError with what is wrong: check digits (ISO 7064 MOD 97-10), country, or the length and
    characters that the country's entry in the ISO 13616 registry asks for.
    """
    if not typed.strip():
        return ""
    if not typed.isascii():
        raise ValueError("An IBAN has only the letters A to Z and digits.")
    try:
        return iban_numbers.validate(typed)
    except InvalidChecksum as error:
        raise ValueError(
            "The check digits of this IBAN do not fit, so one of its characters is wrong. "
            "Copy it again from the bank's papers."
        ) from error
    except InvalidComponent as error:
        raise ValueError(
            f"{iban_numbers.compact(typed)[:2]} is no country with IBANs. "
            "The first two letters name the bank's country."
        ) from error
    except ValidationError as error:
        raise ValueError(
            "This IBAN is too short, too long or has a character that does not belong there. "
            "Copy it again from the bank's papers."
        ) from error


def read_bic(typed: str) -> str:
    """The BIC (ISO 9362) without blanks, in capitals; "" for nothing typed; else ValueError."""
    if not typed.strip():
        return ""
    try:
        if not typed.isascii():
            raise ValidationError
        return bic_numbers.validate(typed)
    except ValidationError as error:
        raise ValueError(
            "A BIC has 8 or 11 characters: four letters for the bank, two for its country, then "
            "letters or digits."
        ) from error


def read_payee(typed: str) -> str:
    """The name of the account's holder; ValueError when a transfer could not carry it."""
    payee = " ".join(typed.split())
    if not payee.isprintable():
        raise ValueError("The name has characters that cannot be printed. Type it again.")
    if len(payee) > PAYEE_LENGTH_MAX or len(payee.encode()) > PAYEE_BYTES_MAX:
        raise ValueError(f"A transfer carries a name of at most {PAYEE_LENGTH_MAX} letters.")
    return payee


def grouped_iban(iban: str) -> str:
    """As people read it, in groups of four."""
    return iban_numbers.format(iban)


def is_in_eea(iban: str) -> bool:
    """Whether the bank is in the European Economic Area, where a transfer needs no BIC."""
    return iban[:2] in EEA
