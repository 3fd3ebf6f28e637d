"""Slip codes: short, said aloud without mistakes, and wrong ones are noticed.

Five characters and a check character of Crockford's base 32 alphabet, which has no I, L, O or U;
the alphabet and its reading of look-alikes are D. Crockford's published "Base 32" note.
"""

ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
_LOOK_ALIKES = str.maketrans({"O": "0", "I": "1", "L": "1", "-": None, " ": None})
_NUMBERS = 32**5
# Odd, so that it maps the numbers below 32^5 one to one: neighbours get unlike codes.
_SPREAD = 20_873_357
_WEIGHTS = (3, 5, 7, 11, 13)


def slip_code(number: int) -> str:
    """The six-character code of a booking number, 1 or more."""
    if number < 1:
        raise ValueError(f"number must be 1 or more, got {number}")
    value = number * _SPREAD % _NUMBERS
    body = "".join(ALPHABET[value >> shift & 31] for shift in (20, 15, 10, 5, 0))
    return body + _check(body)


def read_slip(text: str) -> str:
    """The code that a person typed or scanned, tidied; ValueError when it cannot be a slip."""
    code = text.strip().upper().translate(_LOOK_ALIKES)
    is_whole = len(code) == 6 and all(letter in ALPHABET for letter in code)
    if not is_whole or code[5] != _check(code[:5]):
        raise ValueError(
            f"“{text.strip()[:20]}” is no slip code: it has six letters and figures, as printed"
        )
    return code


def _check(body: str) -> str:
    """Weighted sum modulo 31, a prime: every single slip and swapped pair changes it, but for
    the one pair of letters whose values differ by 31."""
    total = sum(
        weight * ALPHABET.index(letter) for weight, letter in zip(_WEIGHTS, body, strict=True)
    )
    return ALPHABET[total % 31]
