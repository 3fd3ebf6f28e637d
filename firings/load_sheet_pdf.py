"""The load sheet to carry to the kiln, as an accessible PDF: layers to scale, slips, posts.

The words, figures and pictures are made here; the layout is `templates/firings/load_sheet.typ`.
"""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

from firings.models import Firing
from firings.pages.load_drawing import LayerDrawing, LoadDrawing, Thing, draw_load
from firings.pages.load_side import StackDrawing
from studio.calculations.quantities import LengthUnit, format_length
from studio.models import Studio
from studio.pages.context import Units
from studio.typesetting import typeset

LAYOUT = Path(__file__).parent / "templates" / "firings" / "load_sheet.typ"

# Common practice, no source.
CAUTIONS = (
    "Lift a shelf with two people when ware stands on it; bend the knees, wear gloves.",
    "Posts of one layer are of one height and stand above those of the layer below.",
    "Kiln wash and dry clay make dust that harms lungs: wear a mask, vacuum with a fine filter, "
    "do not blow or sweep.",
    "The kiln's manual and the studio's own rules go before this sheet.",
)
BUNDLE_CAUTION = (
    "What stands in, on or in a row with another piece goes in as the list says: bone dry and "
    "without glaze where it touches. Prop a row of tiles at both ends, so that it cannot fall."
)
FILLS = {"piece": "#ffffff", "quarter": "#eef3f5", "post": "#86756a", "cones": "#fde5d6"}
FILLS["room"] = "#ffffff"
DASHES = {"cones": "9 5", "room": "3 6"}


def render_load_sheet(firing: Firing, units: Units, *, at: datetime) -> bytes:
    """The sheet of the load as it stands at this moment, on A4."""
    drawing = draw_load(firing)
    studio = Studio.current()
    return typeset(LAYOUT, "sheet", _sheet(firing, drawing, units, studio, at), at=at)


def _sheet(
    firing: Firing, drawing: LoadDrawing, units: Units, studio: Studio, at: datetime
) -> dict[str, Any]:
    show = _Lengths(units)
    zone = studio.zone
    return {
        "title": f"Load sheet, {firing}",
        "language": units.locale.split("_")[0],
        "studio": studio.name,
        "firing": str(firing),
        "kiln": str(firing.kiln),
        "planned_for": f"{firing.planned_for.astimezone(zone):%-d %B %Y, %H:%M}",
        "printed": f"{at.astimezone(zone):%-d %B %Y, %H:%M}",
        "revision": firing.load_revision,
        "fill_percent": drawing.fill_percent,
        "side_svg": _side_svg(drawing.side) if drawing.side else "",
        "side_alt": "The kiln from its front, with its shelves, posts and ware to scale; the table "
        "beside it says the same.",
        "layers": [_layer(one, show) for one in drawing.layers],
        "cautions": [*([BUNDLE_CAUTION] if drawing.has_bundles else []), *CAUTIONS],
    }


class _Lengths:
    """Lengths in the unit of who prints the sheet."""

    def __init__(self, units: Units) -> None:
        self.unit: LengthUnit = "in" if units.length == "in" else "cm"
        self.locale = units.locale

    def __call__(self, length_mm: int) -> str:
        return format_length(length_mm, self.unit, self.locale)


def _layer(one: LayerDrawing, show: _Lengths) -> dict[str, Any]:
    posts = one.layer.posts_mm
    return {
        "title": one.title,
        "posts": " + ".join(show(post) for post in posts) if posts else "none",
        "fill_percent": one.fill_percent,
        "tallest": show(one.tallest_mm) if one.tallest_mm else "nothing",
        "has_cones": bool(one.layer.cone_pack),
        "has_room": bool(one.rooms),
        "is_locked": one.is_locked,
        "svg": _layer_svg(one),
        "alt": f"{one.title} from above, to scale, the back of the kiln on top: "
        + (", ".join(sorted({line.booking.slip for line in one.lines})) or "empty"),
        "lines": [
            {
                "slip": line.booking.slip,
                "piece": line.piece.name,
                "size": _size(line.piece, show),
                "place": line.place,
                "member": str(line.booking.member),
            }
            for line in one.lines
        ],
    }


def _size(piece: Any, show: _Lengths) -> str:
    high = f"{show(piece.height_mm)} high"
    if not piece.shape:
        return high
    across = show(piece.across_mm)
    depth = f" × {show(piece.depth_mm)}" if piece.depth_mm else ""
    return f"{across}{depth}, {high}"


def _layer_svg(one: LayerDrawing) -> str:
    shapes = [
        f'<clipPath id="shelf"><path d="{one.shelf}"/></clipPath>',
        f'<path d="{one.shelf}" fill="#f1ebe2" stroke="#6b5c52" stroke-width="3"/>',
        *(_thing_svg(thing) for thing in one.things),
    ]
    return _svg(one.view_box, shapes)


def _thing_svg(thing: Thing) -> str:
    dash = f' stroke-dasharray="{DASHES[thing.kind]}"' if thing.kind in DASHES else ""
    clip = ' clip-path="url(#shelf)"' if thing.kind == "quarter" else ""
    width = 5 if thing.is_locked else 2
    drawn = "".join(
        f'<path d="{path}" fill="{FILLS[thing.kind]}" stroke="#2a201a" '
        f'stroke-width="{width}"{dash}{clip}/>'
        for path in thing.paths
    )
    if not thing.label:
        return drawn
    return (
        f'{drawn}<text x="{thing.x_mm}" y="{thing.y_mm + thing.label_mm * 0.35:.1f}" '
        f'font-size="{thing.label_mm}" font-family="DejaVu Sans Mono" text-anchor="middle" '
        f'fill="#2a201a">{escape(thing.label)}</text>'
    )


SIDE_FILLS = {
    "chamber": "#ffffff",
    "shelf": "#c99a66",
    "post": "#86756a",
    "piece": "#f1ebe2",
}


def _side_svg(side: StackDrawing) -> str:
    blocks = [
        f'<rect x="{one.x}" y="{one.y}" width="{one.width}" height="{one.height}" '
        f'fill="{SIDE_FILLS[one.kind]}" stroke="#2a201a" stroke-width="2"/>'
        for one in side.blocks
    ]
    labels = [
        f'<text x="{one.x}" y="{one.y + 10}" font-size="30" font-family="DejaVu Sans Mono" '
        f'text-anchor="middle" fill="#2a201a">{escape(one.text)}</text>'
        for one in side.labels
    ]
    return _svg(side.view_box, [*blocks, *labels])


def _svg(view_box: str, shapes: list[str]) -> str:
    inside = "".join(shapes)
    return f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{view_box}">{inside}</svg>'
