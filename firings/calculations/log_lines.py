"""A logger's file as lines of text, and how its faults are told."""

import csv
import re
from collections.abc import Iterable, Iterator, Sequence

# Whoever takes a file in checks this before reading it whole.
MAX_LOG_BYTES = 20 * 1024 * 1024
MAX_LOG_ROWS = 200_000
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
        self._count = 0

    def add(self, line: int, message: str) -> None:
        self._count += 1
        if len(self._kept) < FAULTS_SHOWN_AT_MOST:
            self._kept.append((line, message))

    def refuse(self) -> None:
        """Raise LogFileError if there is any fault."""
        if self._count:
            raise LogFileError(self._kept, self._count)


def numbered_lines(source: LogSource) -> Iterator[tuple[int, str]]:
    """The lines of a file that say something, with their numbers from 1.

    Bytes are UTF-8, with or without a byte order mark, or else Latin-1. Blank lines and lines that
    begin with # are passed over. Raises LogFileError for what is no text.
    """
    for number, line in enumerate(_lines(source), 1):
        if "\0" in line:
            raise LogFileError([(number, "This is not a text file. Send the log as CSV.")])
        line = line.rstrip("\r\n")
        if line.strip() and not line.lstrip().startswith("#"):
            yield number, line


def _lines(source: LogSource) -> Iterable[str]:
    if isinstance(source, bytes):
        source = _decoded_file(source)
    if isinstance(source, str):
        return re.split(r"\r\n|\n|\r", source.removeprefix("\ufeff"))
    return _decoded_lines(source)


def _decoded_file(content: bytes) -> str:
    if content.startswith(b"PK\x03\x04"):
        raise LogFileError([(0, "This is a spreadsheet or an archive. Save the log as CSV.")])
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        return content.decode("utf-16", errors="replace")
    return _decoded(content)


def _decoded(content: bytes) -> str:
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return content.decode("latin-1")


def _decoded_lines(lines: Iterable[str | bytes]) -> Iterator[str]:
    for number, line in enumerate(lines):
        text = _decoded(line) if isinstance(line, bytes) else line
        yield text.removeprefix("\ufeff") if number == 0 else text


def cells_of(line: str, delimiter: str) -> list[str]:
    """The cells of a line, without the spaces around them."""
    if '"' in line:
        cells = next(csv.reader([line], delimiter=delimiter, skipinitialspace=True), [])
    else:
        cells = line.split(delimiter)
    return [cell.strip() for cell in cells]
