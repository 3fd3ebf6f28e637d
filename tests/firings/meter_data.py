"""Small Green Button files of our own, written to the schema of NAESB REQ.21 ESPI."""

from typing import Any

MIDNIGHT = 1_772_424_000  # 2026-03-02 04:00 UTC
UP = "/espi/UsagePoint/1"


def tags(values: dict[str, Any]) -> str:
    return "".join(f"<e:{name}>{value}</e:{name}>" for name, value in values.items())


def entry(href: str, up: str, body: str, *related: str, title: str = "") -> str:
    links = "".join(f'<link rel="related" href="{one}"/>' for one in related)
    return (
        f'<entry><link rel="self" href="{href}"/><link rel="up" href="{up}"/>{links}'
        f"<title>{title}</title><content>{body}</content></entry>"
    )


def reading(value: int, start: int | None = None, duration: int = 900, **more: Any) -> str:
    when = "" if start is None else tags({"duration": duration, "start": start})
    period = f"<e:timePeriod>{when}</e:timePeriod>" if when else ""
    cost = tags({"cost": more["cost"]}) if "cost" in more else ""
    quality = more.get("quality")
    said = "" if quality is None else f"<e:ReadingQuality>{tags({'quality': quality})}"
    closed = "</e:ReadingQuality>" if said else ""
    held = f"{cost}{said}{closed}{period}{tags({'value': value})}"
    return f"<e:IntervalReading>{held}</e:IntervalReading>"


def quarters(*values: int, start: int = MIDNIGHT, **more: Any) -> str:
    return "".join(reading(v, start + 900 * n, **more) for n, v in enumerate(values))


def block(readings: str, start: int = MIDNIGHT) -> str:
    span = f"<e:interval>{tags({'duration': 86400, 'start': start})}</e:interval>"
    return f"<e:IntervalBlock>{span}{readings}</e:IntervalBlock>"


USUAL = {
    "accumulationBehaviour": 4,
    "commodity": 1,
    "currency": 840,
    "dataQualifier": 12,
    "flowDirection": 1,
    "intervalLength": 900,
    "kind": 12,
    "powerOfTenMultiplier": 0,
    "uom": 72,
}


def meter(number: int, *blocks: str, title: str = "Kiln meter", **kind: Any) -> str:
    """One meter reading with its kind and its blocks, joined by links as the schema says."""
    here = f"{UP}/MeterReading/{number}"
    what = f"/espi/ReadingType/{number}"
    said = f"<e:ReadingType>{tags({**USUAL, **kind})}</e:ReadingType>"
    return (
        entry(here, f"{UP}/MeterReading", "<e:MeterReading/>", f"{here}/IntervalBlock", what,
              title=title)
        + entry(what, "/espi/ReadingType", said)
        + "".join(
            entry(f"{here}/IntervalBlock/{n}", f"{here}/IntervalBlock", one)
            for n, one in enumerate(blocks)
        )
    )  # fmt: skip


def feed(*entries: str, service: int = 0) -> bytes:
    point = (
        f"<e:UsagePoint><e:ServiceCategory>{tags({'kind': service})}</e:ServiceCategory>"
        "</e:UsagePoint>"
    )
    return (
        '<?xml version="1.0"?>\n<feed xmlns="http://www.w3.org/2005/Atom" '
        'xmlns:e="http://naesb.org/espi">\n'
        + entry(UP, "/espi/UsagePoint", point, f"{UP}/MeterReading")
        + "".join(entries)
        + "</feed>"
    ).encode()
