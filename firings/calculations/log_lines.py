"""A logger's file as lines of text, and how its faults are told."""

from __future__ import annotations

import codecs
import csv
import re
from collections.abc import Iterable, Iterator, Sequence
from itertools import chain

# Whoever takes a file in checks this before reading it whole.
MAX_LOG_BYTES = 120 * 1024 * 1024
MAX_LOG_ROWS = 2_000_000
# A file is read and decoded in pieces of about so many signs, never whole.
BLOCK_CHARS = 1024 * 1024
FAULTS_SHOWN_AT_MOST = 20

LogSource = bytes | str | Iterable[str | bytes]


class LogFileError(ValueError):
    """Why a file cannot be taken in.

    `faults`: the first 20 as (line number, message), by line; line 0 is the file as a whole.
    `count`: how many there are in all.
    """

    def __init__(self, faults: Sequence[tuple[int, str]], count: int | None = None) -> None:
        self.faults = tuple(sorted(faults)[:FAULTS_SHOWN_AT_MOST])
        self.count = len(faults) if count is None else count
        super().__init__("\n".join(self.messages))

    @property
    def messages(self) -> tuple[str, ...]:
        """One sentence for each fault shown, and one for those that are not."""
        told = [f"Line {line}: {message}" if line else message for line, message in self.faults]
        more = self.count - len(self.faults)
        if more > 0:
            told.append(f"And {more} more.")
        return tuple(told)


class Faults:
    """Gathers faults; keeps the first 20 and counts the rest."""

    def __init__(self) -> None:
        self._kept: list[tuple[int, str]] = []
        self.count = 0

    def add(self, line: int, message: str) -> None:
        self.count += 1
        if len(self._kept) < FAULTS_SHOWN_AT_MOST:
            self._kept.append((line, message))

    def refuse(self) -> None:
        """Raise LogFileError if there is any fault."""
        if self.count:
            raise LogFileError(self._kept, self.count)


def lines_of(block: str) -> list[str]:
    """The lines of a block, whatever their line ends."""
    return _LINE_END.split(block)


def telling_lines(first: int, lines: Iterable[str]) -> Iterator[tuple[int, str]]:
    """The lines of a block that say something; `first` is the number of its first line."""
    for number, line in enumerate(lines, first):
        if "\0" in line:
            raise LogFileError([(number, "This is not a text file. Send the log as CSV.")])
        if line.strip() and not line.lstrip().startswith("#"):
            yield number, line


_LINE_END = re.compile(r"\r\n|\n|\r")


def numbered_blocks(source: LogSource) -> Iterator[tuple[int, str]]:
    """A file as blocks of whole lines, without the last line end, each with its first number.

    `source` is a text, its bytes, or pieces of either, cut anywhere.
    """
    number = 1
    for block in _blocks(_decoded(_pieces(source))):
        yield number, block
        number += 1 + (len(_LINE_END.findall(block)) if "\r" in block else block.count("\n"))


def _pieces(source: LogSource) -> Iterable[str | bytes]:
    if isinstance(source, bytes | str):
        return (source[at : at + BLOCK_CHARS] for at in range(0, len(source), BLOCK_CHARS))
    return source


def _decoded(pieces: Iterable[str | bytes]) -> Iterator[str]:
    """UTF-8 until a piece is none; from there on Latin-1, which everything is."""
    pieces = iter(pieces)
    first = next(pieces, "")
    if isinstance(first, bytes) and first.startswith(b"PK\x03\x04"):
        raise LogFileError([(0, "This is a spreadsheet or an archive. Save the log as CSV.")])
    is_utf_16 = isinstance(first, bytes) and first.startswith((b"\xff\xfe", b"\xfe\xff"))
    decoder: codecs.IncrementalDecoder = codecs.getincrementaldecoder(
        "utf-16" if is_utf_16 else "utf-8-sig"
    )("replace" if is_utf_16 else "strict")
    latin = codecs.getincrementaldecoder("latin-1")()
    is_first = True
    for piece in chain([first], pieces):
        if isinstance(piece, str):
            text = piece
        else:
            waiting = decoder.getstate()[0]
            try:
                text = decoder.decode(piece)
            except UnicodeDecodeError:
                decoder = latin
                text = decoder.decode(waiting + piece)
        yield text.removeprefix("\ufeff") if is_first else text
        is_first = False
    waiting = decoder.getstate()[0]
    yield waiting.decode("utf-8" if is_utf_16 else "latin-1", errors="replace")


def _blocks(texts: Iterable[str]) -> Iterator[str]:
    """Text cut behind line ends, in pieces of about a million signs."""
    waiting: list[str] = []
    size = 0
    for text in texts:
        waiting.append(text)
        size += len(text)
        if size < BLOCK_CHARS:
            continue
        whole = "".join(waiting)
        # A carriage return at the very end may be half of a line end.
        cut = max(whole.rfind("\n"), whole.rfind("\r", 0, len(whole) - 1))
        if cut >= 0:
            before = cut - 1 if whole[cut] == "\n" and whole[cut - 1 : cut] == "\r" else cut
            yield whole[:before]
            whole = whole[cut + 1 :]
        waiting, size = [whole], len(whole)
    rest = "".join(waiting)
    if rest:
        yield rest.removesuffix("\n").removesuffix("\r")


def cells_of(line: str, delimiter: str) -> list[str]:
    """The cells of a line, without the spaces around them."""
    if '"' in line:
        cells = next(csv.reader([line], delimiter=delimiter, skipinitialspace=True), [])
    else:
        cells = line.split(delimiter)
    return [cell.strip() for cell in cells]
