"""The creditor reference by which a payment finds its account (ISO 11649)."""

from __future__ import annotations

import re

from stdnum import iso11649
from stdnum.iso7064 import mod_97_10

# RF, two check digits, then digits in groups: no letter or digit may stand right before or after.
_REFERENCE = re.compile(
    r"(?<![0-9A-Z])RF[\s-]*(?P<check_digits>[0-9]{2})[\s-]*(?P<groups>[0-9]+(?:[\s-]+[0-9]+)*)"
    r"(?![0-9A-Z])",
    re.IGNORECASE,
)
_BETWEEN_GROUPS = re.compile(r"[\s-]+")
_DIGITS_MAX = 21


def reference_of(account_number: int) -> str:
    """The reference of an account: "RF", two check digits, the number; 101 gives "RF90101".

    `account_number` is 1 or more and has at most 21 digits; ValueError otherwise.
    Source: ISO 11649; check digits by ISO 7064 MOD 97-10.
    """
    if not 1 <= account_number < 10**_DIGITS_MAX:
        raise ValueError(
            f"account_number must be 1 or more with at most {_DIGITS_MAX} digits, "
            f"not {account_number!r}"
        )
    return f"RF{mod_97_10.calc_check_digits(f'{account_number}RF')}{account_number}"


def grouped_reference(reference: str) -> str:
    """The same as people read it, in groups of four: "RF90 101"."""
    return iso11649.format(reference)


def account_number_in(text: str) -> int | None:
    """The account number of the reference in a payment's text; None without a valid one.

    Spaces, hyphens, lower case and zeros in front of the number (some banks fill up to 21
    digits: the check digits stay the same) do no harm. Other digits may follow after a blank:
    the longest run of groups whose check digits are right counts. Two references of different
    accounts are no answer, so None.
    """
    numbers = {
        number
        for found in _REFERENCE.finditer(text)
        if (number := _number_of(found["check_digits"], found["groups"])) is not None
    }
    return numbers.pop() if len(numbers) == 1 else None


def _number_of(check_digits: str, groups: str) -> int | None:
    parts = _BETWEEN_GROUPS.split(groups)[:_DIGITS_MAX]
    for count in range(len(parts), 0, -1):
        digits = "".join(parts[:count])
        if iso11649.is_valid(f"RF{check_digits}{digits}"):
            return int(digits) or None
    return None
