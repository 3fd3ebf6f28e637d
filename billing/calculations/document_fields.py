"""Fields of a tariff's JSON, read one at a time: what is missing or no number is named."""

import re
from collections.abc import Mapping
from decimal import Decimal, InvalidOperation
from typing import Any

from billing.calculations.prices import TariffError
from billing.calculations.seasons import MonthDay

Document = Mapping[str, Any]

# Far above any supplier's tariff; a picture names periods by the 26 letters.
LENGTH_MAX = {"periods": 24, "seasons": 12, "rules": 200}
LENGTH_MAX_ELSE = 12
TEXT_LENGTH_MAX = 64


def objects_in(document: Document, key: str, *, required: bool = True) -> list[Document]:
    """A list of JSON objects."""
    entries = document.get(key)
    if entries is None and not required:
        return []
    if not isinstance(entries, list) or not all(isinstance(entry, Mapping) for entry in entries):
        raise TariffError([f"{key} must be a list of objects, not {entries!r}"])
    length_max = LENGTH_MAX.get(key, LENGTH_MAX_ELSE)
    if len(entries) > length_max:
        raise TariffError([f"{key} are {len(entries)}: at most {length_max} are read"])
    return entries


def text_in(document: Document, key: str, where: str) -> str:
    """Text that is not empty and not too long."""
    text = document.get(key)
    if not isinstance(text, str) or not text.strip():
        raise TariffError([f"{where} needs {key!r} as text, not {text!r}"])
    if len(text) > TEXT_LENGTH_MAX:
        raise TariffError([f"{where} needs {key!r} in {TEXT_LENGTH_MAX} letters or fewer"])
    return text


def optional_text_in(document: Document, key: str, where: str) -> str | None:
    """The same, or nothing."""
    return None if document.get(key) is None else text_in(document, key, where)


def decimal_in(document: Document, key: str, where: str) -> Decimal:
    """A number written as text."""
    text = text_in(document, key, where)
    try:
        return Decimal(text)
    except InvalidOperation as error:
        word = "price" if key.startswith("price") else key
        raise TariffError([f"{where}: {word} {text!r} is not a decimal number"]) from error


def month_day_in(document: Document, key: str, where: str) -> MonthDay:
    """A day of every year, written month-day."""
    text = text_in(document, key, where)
    match = re.fullmatch(r"(\d\d)-(\d\d)", text)
    if match is None:
        raise TariffError([f"{where}: {text!r} is not a day of the year such as 11-01"])
    return MonthDay(int(match[1]), int(match[2]))
