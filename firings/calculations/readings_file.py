"""Take a logger's file in: readings in UTC, C, W and Wh, or every reason why not.

A file is taken in whole or not at all. `preview_log` guesses its layout, a person confirms or
corrects the mapping, and `LogStream` reads it part by part, or `parse_log` all at once.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from firings.calculations.log_columns import UNITS_OF_ROLE, ColumnMapping, MappedColumn
from firings.calculations.log_lines import MAX_LOG_BYTES, LogFileError, LogSource
from firings.calculations.log_preview import ColumnGuess, LogPreview, preview_log
from firings.calculations.log_stream import LogStream
from firings.calculations.readings import Reading


@dataclass(frozen=True, slots=True)
class ParsedLog:
    """The readings of a file, in order of time, and what a person should know about them."""

    readings: tuple[Reading, ...]
    warnings: tuple[str, ...] = ()


def parse_log(
    source: LogSource,
    mapping: ColumnMapping,
    time_zone: ZoneInfo,
    started_at: datetime | None = None,
    *,
    allow_disorder: bool = False,
) -> list[Reading]:
    """The readings of a file in order of time; see `read_log`, which also returns warnings."""
    return list(
        read_log(source, mapping, time_zone, started_at, allow_disorder=allow_disorder).readings
    )


def read_log(
    source: LogSource,
    mapping: ColumnMapping,
    time_zone: ZoneInfo,
    started_at: datetime | None = None,
    *,
    allow_disorder: bool = False,
) -> ParsedLog:
    """Read a file.

    `time_zone`: that of local times in the file. `started_at`: an aware moment, needed when the
    file counts from the start. `allow_disorder`: sort lines that are not in order of time instead
    of refusing them. Raises LogFileError with every fault it finds; nothing is taken in by half.
    """
    stream = LogStream(source, mapping, time_zone, started_at, allow_disorder=allow_disorder)
    readings = tuple(reading for part in stream for reading in part)
    return ParsedLog(readings, tuple(stream.warnings))


__all__ = [
    "MAX_LOG_BYTES",
    "UNITS_OF_ROLE",
    "ColumnGuess",
    "ColumnMapping",
    "LogFileError",
    "LogPreview",
    "LogStream",
    "MappedColumn",
    "ParsedLog",
    "parse_log",
    "preview_log",
    "read_log",
]
