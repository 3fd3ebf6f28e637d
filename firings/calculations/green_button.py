"""Interval data as utilities hand them to their customers: Green Button, NAESB REQ.21 ESPI.

An Atom feed whose entries each hold one resource; they join by links. A UsagePoint is a meter, a
MeterReading one kind of thing it measures, its ReadingType says which, and IntervalBlocks hold the
numbers. A file is taken in whole or not at all. Read from the XML schema v4.0.20231213 (published
13 December 2023, Apache-2.0); files written to v3.3 read the same.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from itertools import pairwise
from xml.etree.ElementTree import Element

from firings.calculations import espi_codes as codes
from firings.calculations.log_lines import Faults, LogFileError
from firings.calculations.meter_series import MeteredInterval, MeterSeries
from studio.calculations.outside_xml import OutsideXmlFault, read_xml

MAX_METER_FILE_BYTES = 20 * 1024 * 1024
LONGEST_INTERVAL = timedelta(days=32)
# Signed 48-bit integers in the schema.
GREATEST_VALUE = 2**47


def read_green_button(content: bytes) -> tuple[MeterSeries, ...]:
    """Every series of electricity delivered that the file holds.

    Energy in Wh, exact. Series of anything else (exported energy, voltage, reactive energy) are
    passed over with a warning on those that stay. Raises LogFileError with the lines for what is
    no such file, holds no usable series, or has intervals that overlap or take no time.
    """
    try:
        root, lines = read_xml(content)
    except OutsideXmlFault as fault:
        raise LogFileError([(fault.line, fault.message)]) from fault
    try:
        return _read_feed(_Feed(root, lines))
    except LogFileError:
        raise
    except ValueError as fault:  # a number of a reading's kind that is none
        raise LogFileError([(0, f"{fault}.")]) from fault


def _read_feed(feed: _Feed) -> tuple[MeterSeries, ...]:
    taken, passed_over = [], []
    for reading in feed.resources("MeterReading"):
        kind = feed.reading_type_of(reading)
        why_not = feed.why_not_electricity(reading) or _why_unusable(kind)
        if why_not:
            passed_over.append((reading.line, f"{reading.name}: {why_not}"))
            continue
        taken.append((reading, kind))
    if not taken:
        raise LogFileError(passed_over or [(0, "The file holds no meter readings.")])
    skipped = tuple(f"Passed over: {why}." for _, why in passed_over)
    return tuple(_series(feed, reading, kind, skipped) for reading, kind in taken)


# ---- the feed: resources and their links


@dataclass(frozen=True)
class _Resource:
    """One entry of the feed with what it holds, mostly one thing. `links` are hrefs by rel."""

    bodies: tuple[Element, ...]
    line: int
    title: str
    links: dict[str, tuple[str, ...]]

    @property
    def body(self) -> Element:
        return self.bodies[0]

    @property
    def href(self) -> str:
        return next(iter(self.links.get("self", ())), "")

    @property
    def name(self) -> str:
        return self.title or self.href.rpartition("/")[2] or "A meter reading without a name"


class _Feed:
    def __init__(self, root: Element, lines: dict[Element, int]) -> None:
        if root.tag != "feed":
            raise LogFileError(
                [(1, f"This is no Green Button file: it begins with {root.tag}, not feed.")]
            )
        self.lines = lines
        self._resources = [self._resource(entry) for entry in root.iter("entry")]

    def _resource(self, entry: Element) -> _Resource:
        links: dict[str, tuple[str, ...]] = {}
        for link in entry.findall("link"):
            rel = link.get("rel", "")
            links[rel] = (*links.get(rel, ()), link.get("href", "").rstrip("/"))
        content = entry.find("content")
        bodies = tuple(content) if content is not None else ()
        title = " ".join((entry.findtext("title") or "").split())
        return _Resource(bodies or (Element("nothing"),), self.lines.get(entry, 0), title, links)

    def resources(self, tag: str) -> list[_Resource]:
        return [resource for resource in self._resources if resource.body.tag == tag]

    @property
    def utc_offset_s(self) -> int | None:
        """What the file says of the meter's clock, when all it says agrees."""
        clocks = self.resources("LocalTimeParameters")
        offsets = {_number(clock.body, "tzOffset", 0) for clock in clocks}
        return offsets.pop() if len(offsets) == 1 else None

    def reading_type_of(self, reading: _Resource) -> Element:
        """The ReadingType a MeterReading points at; the only one there is, or an empty one."""
        kinds = self.resources("ReadingType")
        pointed = [k for k in kinds if k.href and k.href in reading.links.get("related", ())]
        found = pointed or (kinds if len(kinds) == 1 else [])
        return found[0].body if found else Element("ReadingType")

    def why_not_electricity(self, reading: _Resource) -> str:
        above = reading.links.get("up", ("",))[0]
        for point in self.resources("UsagePoint"):
            is_its_own = above and above in point.links.get("related", ())
            if is_its_own or (point.href and above.startswith(f"{point.href}/")):
                service = _number(point.body, "ServiceCategory/kind", codes.ELECTRICITY)
                if service != codes.ELECTRICITY:
                    name = codes.SERVICES.get(service, f"service {service}")
                    return f"it is a meter of {name}, not of electricity"
        return ""

    def blocks_of(self, reading: _Resource) -> Iterator[Element]:
        """All blocks of a MeterReading; every block when the file has only one reading."""
        is_alone = len(self.resources("MeterReading")) == 1
        for resource in self._resources:
            above = resource.links.get("up", ("",))[0]
            is_its_own = bool(above) and above in reading.links.get("related", ())
            is_below = bool(reading.href) and above.startswith(f"{reading.href}/")
            if is_its_own or is_below or is_alone:
                yield from (b for b in resource.bodies if b.tag == "IntervalBlock")


def _why_unusable(kind: Element) -> str:
    """Why a reading of this kind is not energy that was delivered; empty when it is."""
    unit = _number(kind, "uom", codes.WATT_HOUR)
    flow = _number(kind, "flowDirection", codes.DELIVERED)
    qualifier = _number(kind, "dataQualifier", codes.NORMAL)
    behaviour = _number(kind, "accumulationBehaviour", codes.DELTA)
    if unit not in (codes.WATT, codes.WATT_HOUR):
        return f"it is in {codes.UNITS.get(unit, f'unit {unit}')}, not in Wh or W"
    if flow == codes.REVERSE:
        return "it is energy sent back to the grid, not used"
    if flow not in (codes.DELIVERED, codes.NET, codes.TOTAL, 0):
        return f"its direction of flow, {flow}, is not energy delivered"
    if qualifier not in (codes.NORMAL, 0):
        return "it is a maximum, minimum or average, not what was used"
    if behaviour == codes.INSTANTANEOUS and unit == codes.WATT_HOUR:
        return "its values are moments, not energy in an interval"
    return ""


# ---- one series


def _series(
    feed: _Feed, reading: _Resource, kind: Element, warnings: tuple[str, ...]
) -> MeterSeries:
    faults = Faults()
    found = [i for block in feed.blocks_of(reading) for i in _intervals(feed, block, kind, faults)]
    faults.refuse()
    if not found:
        raise LogFileError([(reading.line, f"{reading.name} holds no intervals.")])
    found.sort(key=lambda interval: interval.start_at)
    if _number(kind, "accumulationBehaviour", codes.DELTA) in codes.REGISTERS:
        found = _differences(found, faults)
    _check_overlaps(found, faults)
    faults.refuse()
    return MeterSeries(
        name=reading.name,
        intervals=tuple(found),
        gaps=tuple((a.end_at, b.start_at) for a, b in pairwise(found) if b.start_at > a.end_at),
        currency=codes.CURRENCIES.get(_number(kind, "currency", 0)),
        utc_offset_s=feed.utc_offset_s,
        warnings=(*warnings, *_flow_warnings(kind)),
    )


def _flow_warnings(kind: Element) -> list[str]:
    flow = _number(kind, "flowDirection", codes.DELIVERED)
    if flow == codes.NET:
        return ["These are net values: energy sent back to the grid is taken off already."]
    if flow == codes.TOTAL:
        return ["These are totals: energy sent back to the grid is counted as used."]
    return []


def _intervals(
    feed: _Feed, block: Element, kind: Element, faults: Faults
) -> Iterator[MeteredInterval]:
    """The readings of a block; one without a time of its own follows the one before."""
    length_s = _number(kind, "intervalLength", 0)
    quality = _number(kind, "defaultQuality", codes.VALID)
    next_s = _number(block, "interval/start", -1)
    for row in block.findall("IntervalReading"):
        line = feed.lines.get(row, 0)
        try:
            start_s = _number(row, "timePeriod/start", next_s)
            duration_s = _number(row, "timePeriod/duration", length_s)
            value = _number(row, "value", 0)
            cost = _number(row, "cost", -1)
            own_quality = _number(row, "ReadingQuality/quality", quality)
        except ValueError as fault:
            faults.add(line, f"{fault}.")
            continue
        if start_s < 0:
            faults.add(line, "The interval says no start, and nor does its block.")
        elif not 0 < duration_s <= LONGEST_INTERVAL.total_seconds():
            faults.add(line, f"The interval takes {duration_s} seconds: that cannot be.")
        elif value < 0:
            faults.add(line, f"The value {value} is below zero: energy sent back is not used here.")
        else:
            next_s = start_s + duration_s
            yield MeteredInterval(
                start_at=datetime.fromtimestamp(start_s, UTC),
                end_at=datetime.fromtimestamp(next_s, UTC),
                energy_wh=_energy_wh(kind, value, duration_s),
                cost=None if cost < 0 else Decimal(cost).scaleb(-codes.COST_PLACES),
                quality=own_quality,
                line=line,
            )


def _energy_wh(kind: Element, value: int, duration_s: int) -> Decimal:
    amount = Decimal(value).scaleb(_number(kind, "powerOfTenMultiplier", 0))
    if _number(kind, "uom", codes.WATT_HOUR) == codes.WATT:
        return amount * duration_s / 3600
    return amount


def _differences(registers: Sequence[MeteredInterval], faults: Faults) -> list[MeteredInterval]:
    """What a register counted from one reading to the next."""
    used = []
    for before, after in pairwise(registers):
        if after.energy_wh < before.energy_wh:
            faults.add(after.line, "The register runs backwards here: it was changed, or reset.")
        elif after.start_at > before.start_at:
            used.append(
                MeteredInterval(
                    before.start_at,
                    after.start_at,
                    after.energy_wh - before.energy_wh,
                    None,
                    max(before.quality, after.quality),
                    after.line,
                )
            )
    return used


def _check_overlaps(intervals: Sequence[MeteredInterval], faults: Faults) -> None:
    for before, after in pairwise(intervals):
        if after.start_at < before.end_at:
            faults.add(
                after.line,
                f"The interval from {after.start_at:%Y-%m-%d %H:%M} UTC overlaps the one that "
                f"stands on line {before.line}: its energy would count twice.",
            )


def _number(element: Element, path: str, otherwise: int) -> int:
    """The whole number at a path, or `otherwise` when there is none; ValueError for other words."""
    words = (element.findtext(path) or "").strip()
    if not words:
        return otherwise
    try:
        number = int(words)
    except ValueError:
        raise ValueError(f"{path} must be a whole number, got {words[:40]!r}") from None
    if abs(number) >= GREATEST_VALUE:
        raise ValueError(f"{path} is {words[:40]}: no meter says that")
    return number
