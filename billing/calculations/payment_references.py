"""The creditor reference of an account: ISO 11649, "RF", two check digits and the number."""

import re
from string import ascii_uppercase, digits

_SIGNS = digits + ascii_uppercase
# People and banks print references in groups of four; nothing may stick to the front.
_START = re.compile(r"(?<![A-Z0-9])(?=(RF ?\d\d[A-Z0-9 ]*))", re.IGNORECASE)
_REFERENCE = re.compile(r"RF\d\d\d{1,21}")


def reference_of(account_number: int) -> str:
    """The reference people write on a transfer for this account, without blanks.

    ISO 11649: the check digits are 98 less the remainder by 97 of number, "RF" and "00", with A
    as 10 to Z as 35. Raises ValueError for a negative number or one of more than 21 digits.
    """
    body = str(account_number)
    if account_number < 0 or len(body) > 21:
        raise ValueError(f"account_number must have 1 to 21 digits, not {account_number!r}")
    return f"RF{98 - _remainder(f'{body}RF00'):02}{body}"


def account_number_in(text: str) -> int | None:
    """The account that a reference in `text` names; None without one, or with several that differ.

    A reference whose check digits are wrong, or that holds letters, is passed over.
    """
    found = {
        number for match in _START.finditer(text) if (number := _number_at(text, match)) is not None
    }
    return found.pop() if len(found) == 1 else None


def _number_at(text: str, match: re.Match[str]) -> int | None:
    """The shortest reading with right check digits; blanks may stand anywhere in a reference."""
    words = match[1].upper().split(" ")
    for count in range(1, len(words) + 1):
        reference = "".join(words[:count])
        if _REFERENCE.fullmatch(reference) and _remainder(reference[4:] + reference[:4]) == 1:
            return int(reference[4:])
    return None


def _remainder(signs: str) -> int:
    return int("".join(str(_SIGNS.index(sign)) for sign in signs.upper())) % 97
