"""XML from outside, read with care: nothing but elements, each with its line."""

from __future__ import annotations

from xml.etree.ElementTree import Element, TreeBuilder

from defusedxml.common import DefusedXmlException
from defusedxml.ElementTree import DefusedXMLParser, ParseError

# The deepest path of a bank statement or of meter data has about 12 steps; deeper is an attack.
DEPTH_AT_MOST = 40


class OutsideXmlFault(ValueError):
    """Why a document cannot be read: a sentence for people, and the line it is about."""

    def __init__(self, line: int, message: str) -> None:
        super().__init__(message)
        self.line, self.message = line, message


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
            raise OutsideXmlFault(
                self.line, f"Elements lie more than {DEPTH_AT_MOST} deep: no honest file does that."
            )
        element = super().start(local_name(tag), attrs)
        self.lines[element] = self.line
        return element

    def end(self, tag: str) -> Element:
        self._depth -= 1
        return super().end(local_name(tag))


def read_xml(content: bytes) -> tuple[Element, dict[Element, int]]:
    """The root and the line of every element; tags come without their namespace.

    Raises OutsideXmlFault for what is no XML, and for document types, entities, references to the
    outside and depths that no honest file has.
    """
    tree = LinedTree()
    parser = tree.parser = DefusedXMLParser(target=tree, forbid_dtd=True)
    try:
        parser.feed(content)
        return parser.close(), tree.lines
    except DefusedXmlException as danger:
        raise OutsideXmlFault(
            tree.line,
            "The file holds a document type or entities, which it does not need and which can "
            "do harm. It is refused; ask its sender for a plain one.",
        ) from danger
    except ParseError as fault:
        message = f"This is no whole XML: {str(fault).split(':')[0]}."
        raise OutsideXmlFault(fault.position[0], message) from fault
    except OutsideXmlFault:
        raise
    except (LookupError, ValueError) as fault:  # what the parser says of encodings it lacks
        raise OutsideXmlFault(
            1, "The file's encoding is not known here. Ask its sender for UTF-8."
        ) from fault
    finally:
        tree.parser = None


def local_name(tag: str) -> str:
    return tag.rpartition("}")[2]
