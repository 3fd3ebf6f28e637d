"""XML from outside, read with care: nothing but elements, each with its line."""

from __future__ import annotations

from xml.etree.ElementTree import Element, TreeBuilder

from defusedxml.common import DefusedXmlException
from defusedxml.ElementTree import DefusedXMLParser, ParseError

from billing.calculations.bank_files import BankFileError, in_one_line

# The deepest path of a camt.053 has about 12 steps; deeper is an attack or another document.
DEPTH_AT_MOST = 40


class LinedTree(TreeBuilder):
    """Builds the tree, remembers the line of each element and refuses a bottomless one."""

    def __init__(self) -> None:
        super().__init__()
        self.lines: dict[Element, int] = {}
        self.parser: DefusedXMLParser | None = None
        self._depth = 0

    @property
    def line(self) -> int:
        return self.parser.parser.CurrentLineNumber if self.parser else 0

    def start(self, tag: str, attrs: dict[str, str]) -> Element:
        self._depth += 1
        if self._depth > DEPTH_AT_MOST:
            raise BankFileError(
                [(self.line, f"Elements lie more than {DEPTH_AT_MOST} deep: no bank writes that.")]
            )
        element = super().start(local_name(tag), attrs)
        self.lines[element] = self.line
        return element

    def end(self, tag: str) -> Element:
        self._depth -= 1
        return super().end(local_name(tag))


def read_xml(content: bytes) -> tuple[Element, dict[Element, int]]:
    """The root and the line of every element; tags come without their namespace.

    Raises BankFileError for what is no XML, and for document types, entities, references to the
    outside and depths that a statement never has.
    """
    tree = LinedTree()
    parser = tree.parser = DefusedXMLParser(target=tree, forbid_dtd=True)
    try:
        parser.feed(content)
        return parser.close(), tree.lines
    except DefusedXmlException as danger:
        message = (
            "The file holds a document type or entities, which no bank's statement needs and "
            "which can do harm. It is refused; ask the bank for a plain one."
        )
        raise BankFileError([(tree.line, message)]) from danger
    except ParseError as fault:
        line = fault.position[0]
        raise BankFileError([(line, f"This is no whole XML: {_reason(fault)}.")]) from fault
    except BankFileError:
        raise
    except (LookupError, ValueError) as fault:  # what the parser says of encodings it lacks
        message = "The file's encoding is not known here. Ask the bank for UTF-8."
        raise BankFileError([(1, message)]) from fault
    finally:
        tree.parser = None


def _reason(fault: ParseError) -> str:
    return str(fault).split(":")[0]


def local_name(tag: str) -> str:
    return tag.rpartition("}")[2]


def text_at(element: Element | None, *paths: str) -> str:
    """The words at the first of the paths that has any, in one line; else nothing."""
    if element is None:
        return ""
    for path in paths:
        words = in_one_line(element.findtext(path) or "")
        if words:
            return words
    return ""
