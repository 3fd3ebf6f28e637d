"""What a member with a pocket calculator can do: read the sums in a working and repeat them.

It knows nothing of the program: only text goes in.
"""

from __future__ import annotations

import re
from decimal import Decimal
from fractions import Fraction

NUMBER = re.compile(r"\d[\d,]*(?:\.\d+)?")
SUM = re.compile(r"([€\d][^:;()]*?[×÷−+][^:;()]*?) = (−? ?€?\d[\d,]*(?:\.\d+)?…?)")


def number(text: str) -> Fraction:
    """The first number in a text; a percentage is a part of one."""
    found = NUMBER.search(text)
    if found is None:
        raise ValueError(f"no number in {text!r}")
    value = Fraction(Decimal(found[0].replace(",", "")))
    return value / 100 if "%" in text else value


def reckon(expression: str) -> Fraction:
    """A line of a calculator: × and ÷ from the left before + and −."""
    total, sign = Fraction(0), 1
    for part in re.split(r"( [+−] )", expression):
        if part in (" + ", " − "):
            sign = 1 if part == " + " else -1
            continue
        first, *rest = re.split(r"( [×÷] )", part)
        value = number(first)
        for operator, factor in zip(rest[::2], rest[1::2], strict=True):
            value = value * number(factor) if operator == " × " else value / number(factor)
        total += sign * value
    return total


def sums_in(sentence: str) -> list[tuple[Fraction, Fraction]]:
    """Every sum that a sentence states: what a calculator shows, and what it says."""
    return [(reckon(left), number(right)) for left, right in SUM.findall(plain(sentence))]


def amount_after(word: str, sentence: str) -> Fraction:
    """The amount that stands after a word."""
    return number(plain(sentence).split(word, 1)[1])


def amounts_in(sentence: str) -> list[Fraction]:
    """All amounts of money, in their order."""
    return [number(text) for text in re.findall(r"€[\d,]+\.\d\d", plain(sentence))]


def plain(text: str) -> str:
    return text.replace("\N{NO-BREAK SPACE}", " ")
