"""A bank's XML, its faults told as those of every bank file."""

from __future__ import annotations

from xml.etree.ElementTree import Element

from billing.calculations.bank_files import BankFileError, in_one_line
from studio.calculations.outside_xml import OutsideXmlFault
from studio.calculations.outside_xml import read_xml as read_outside_xml


def read_xml(content: bytes) -> tuple[Element, dict[Element, int]]:
    """The root and the line of every element; tags come without their namespace.

    Raises BankFileError for what is no XML, and for document types, entities, references to the
    outside and depths that a statement never has.
    """
    try:
        return read_outside_xml(content)
    except OutsideXmlFault as fault:
        raise BankFileError([(fault.line, fault.message)]) from fault


def text_at(element: Element | None, *paths: str) -> str:
    """The words at the first of the paths that has any, in one line; else nothing."""
    if element is None:
        return ""
    for path in paths:
        words = in_one_line(element.findtext(path) or "")
        if words:
            return words
    return ""
