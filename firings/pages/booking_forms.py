"""What a member says about the ware: pieces from the palette, typed sizes, or a part of a shelf."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import Any

from babel.numbers import format_decimal
from django import forms
from django.core.exceptions import ValidationError

from firings.actions.book import PIECES_AT_MOST, PieceRequest
from firings.calculations.cones import is_within
from firings.calculations.footprints import GREATEST_SIZE_MM
from firings.models import Clay, FootprintShape, Glaze, PieceSize, ShelfFraction, Stage
from studio.calculations.quantities import mm_to
from studio.pages.context import Units
from studio.pages.rows import FormWithRows
from studio.pages.unit_fields import CountField, LengthField, ReaderForm
from studio.pages.widgets import DayInput

NO_FRACTION = ("", "No, I bring single pieces")


class PaletteInput(forms.Widget):
    """One stepper for each usual size; the value maps a size's id to what was typed."""

    template_name = "firings/parts/palette.html"
    use_fieldset = True

    def __init__(self, sizes: Sequence[PieceSize], units: Units) -> None:
        super().__init__()
        self.sizes = sizes
        self.units = units

    def value_from_datadict(self, data: Any, files: Any, name: str) -> dict[int, str]:
        return {size.pk: data.get(f"{name}-{size.pk}", "").strip() for size in self.sizes}

    def value_omitted_from_data(self, data: Any, files: Any, name: str) -> bool:
        return not any(f"{name}-{size.pk}" in data for size in self.sizes)

    def get_context(self, name: str, value: Any, attrs: dict[str, Any] | None) -> dict[str, Any]:
        context = super().get_context(name, value, attrs)
        typed = value or {}
        context["widget"]["most"] = PIECES_AT_MOST
        context["widget"]["buttons"] = [
            {
                "size": size,
                "name": f"{name}-{size.pk}",
                "measures": self._measures(size),
                "value": typed.get(size.pk, ""),
            }
            for size in self.sizes
        ]
        return context

    def _measures(self, size: PieceSize) -> str:
        """Across (and deep) and high, the unit once: `9.5 × 11 cm`."""
        unit, locale = self.units.length, self.units.locale
        lengths = [size.across_mm, size.depth_mm, size.height_mm]
        numbers = [mm_to(length, unit) for length in lengths if length]  # type: ignore[arg-type]
        shown = [format_decimal(number, "0.#", locale=locale) for number in numbers]
        return f"{' × '.join(shown)} {unit}"


class PaletteField(forms.Field):
    """How many of each usual size; returns the requests for those that were chosen."""

    def __init__(self, sizes: Sequence[PieceSize], units: Units, **kwargs: Any) -> None:
        self.sizes = sizes
        super().__init__(widget=PaletteInput(sizes, units), **kwargs)

    def clean(self, value: Mapping[int, str]) -> list[PieceRequest]:
        typed = {size: value.get(size.pk, "") or "0" for size in self.sizes}
        absurd = [size.name for size, count in typed.items() if not _is_count(count)]
        if absurd:
            raise ValidationError(
                f"{', '.join(absurd)}: write a whole number from 0 to {PIECES_AT_MOST}.",
                code="absurd",
            )
        return [
            PieceRequest(
                size.name, size.shape, size.across_mm, size.height_mm, size.depth_mm, int(count)
            )
            for size, count in typed.items()
            if int(count)
        ]


def _is_count(typed: str) -> bool:
    return typed.isascii() and typed.isdigit() and int(typed[:9]) <= PIECES_AT_MOST


class PieceRow(ReaderForm):
    """Pieces of one typed size."""

    name = forms.CharField(label="What it is", max_length=40)
    shape = forms.ChoiceField(
        label="Seen from above", choices=FootprintShape, initial=FootprintShape.ROUND
    )
    across_mm = LengthField(label="Widest across", min_mm=1, max_mm=GREATEST_SIZE_MM)
    depth_mm = LengthField(
        label="Depth, if rectangular", min_mm=1, max_mm=GREATEST_SIZE_MM, required=False
    )
    height_mm = LengthField(label="Height", min_mm=1, max_mm=GREATEST_SIZE_MM)
    count = CountField(label="How many", max_value=PIECES_AT_MOST, initial=1)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        is_rectangle = cleaned.get("shape") == FootprintShape.RECTANGLE
        if "depth_mm" in cleaned and is_rectangle != (cleaned["depth_mm"] is not None):
            told = (
                "A rectangular piece needs its depth too."
                if is_rectangle
                else "Round ware has no depth: leave this empty, or choose rectangular."
            )
            self.add_error("depth_mm", told)
        return cleaned


class BookingForm(FormWithRows):
    """One booking of one stage and cone, which the page knows already."""

    row_form = PieceRow
    rows_min, rows_max, rows_extra = 0, 20, 1

    shelf_fraction = forms.ChoiceField(
        label="Part of a shelf",
        required=False,
        choices=[NO_FRACTION, *ShelfFraction.choices],
        widget=forms.RadioSelect({"class": "choice-grid"}),
        help_text="For many small pieces: you fill that part of a shelf yourself and pay for it.",
    )
    shelf_height_mm = LengthField(
        label="Tallest piece on it", min_mm=1, max_mm=GREATEST_SIZE_MM, required=False
    )
    dry_on = forms.DateField(label="Dry on", widget=DayInput)
    note = forms.CharField(
        label="Note for the crew",
        required=False,
        max_length=500,
        widget=forms.Textarea({"rows": 2}),
    )
    field_order = ("pieces", "shelf_fraction", "shelf_height_mm", "glazes", "clay")

    def __init__(
        self,
        *args: Any,
        stage: str,
        cone: str,
        sizes: Sequence[PieceSize],
        clays: Sequence[Clay],
        glazes: Sequence[Glaze],
        units: Units,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, units=units, **kwargs)
        self.fields["pieces"] = PaletteField(
            sizes, units, label="Tap what you bring", help_text="Sizes: across × high."
        )
        self.fields["clay"] = _clay_field(clays, stage, cone)
        if stage == Stage.GLAZE:
            self.fields["glazes"] = _glaze_field(glazes, cone)
        self.fields["dry_on"].help_text = (
            "The day the glaze is dry." if stage == Stage.GLAZE else "The day it is bone dry."
        )
        self.order_fields(self.field_order)
        self.has_palette = bool(sizes)

    @property
    def shows_rows(self) -> bool:
        """Whether the typed sizes stand open: there is something in them, or nothing else."""
        is_filled = self.is_bound and any(row.has_changed() for row in self.rows.forms)
        return is_filled or not self.has_palette or self.wants_more_rows()

    @property
    def shows_shelf(self) -> bool:
        """Whether the part of a shelf stands open."""
        if not self.is_bound:
            return False
        wrong = {"shelf_fraction", "shelf_height_mm"} & set(self.errors)
        return bool(self["shelf_fraction"].value() or wrong)

    def put_row_error(self, field: str, message: str) -> bool:
        """A refusal of a size begins with the name of the ware: put it where that was typed."""
        if field == "pieces" and self.cleaned_data.get("shelf_fraction"):
            self.add_error("shelf_height_mm", message)
            return True
        if field == "pieces":
            for row in self.rows.forms:
                name = row.cleaned_data.get("name") if row.has_changed() else None
                if name and message.startswith((f"{name}:", f"{name} is ")):
                    row.add_error(None, message)
                    self.add_error(None, message)
                    return True
        return super().put_row_error(field, message)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if "rows" in cleaned:
            typed = [PieceRequest(**row) for row in cleaned["rows"]]
            cleaned["pieces"] = [*cleaned.get("pieces", []), *typed]
            if not (cleaned["pieces"] or cleaned.get("shelf_fraction") or "pieces" in self.errors):
                self.add_error("pieces", "Say what you bring: at least one piece.")
        return cleaned


def _clay_field(clays: Sequence[Clay], stage: str, cone: str) -> forms.Field:
    def range_of(clay: Clay) -> tuple[str, str]:
        if stage == Stage.BISQUE:
            return clay.bisque_cone_low, clay.bisque_cone_high
        return clay.cone_low, clay.cone_high

    ranges = [(clay, *range_of(clay)) for clay in clays]
    by_id = {clay.pk: clay for clay in clays}
    return forms.TypedChoiceField(
        label="Clay",
        choices=_material_choices(ranges, cone),
        coerce=lambda pk: by_id[int(pk)],
        widget=forms.RadioSelect({"class": "choice-grid"}),
        error_messages={"required": "Choose the clay."},
    )


def _glaze_field(glazes: Sequence[Glaze], cone: str) -> forms.Field:
    ranges = [(glaze, glaze.cone_low, glaze.cone_high) for glaze in glazes]
    by_id = {glaze.pk: glaze for glaze in glazes}
    return forms.TypedMultipleChoiceField(
        label="Glazes on it",
        choices=_material_choices(ranges, cone),
        coerce=lambda pk: by_id[int(pk)],
        widget=forms.CheckboxSelectMultiple({"class": "choice-grid"}),
        error_messages={"required": "Say which glazes are on the ware."},
    )


def _material_choices(
    ranges: Iterable[tuple[Clay | Glaze, str, str]], cone: str
) -> list[tuple[int, str]]:
    """Those that fit the cone first; the others say for which cones they are."""
    fitting, others = [], []
    for material, low, high in ranges:
        if is_within(cone, low, high):
            fitting.append((material.pk, material.name))
        else:
            cones = low if low == high else f"{low} to {high}"
            others.append((material.pk, f"{material.name} (only for cone {cones})"))
    return fitting + others


def first_values(today: date, clay_id: int | None) -> dict[str, Any]:
    """What stands in the form to begin with: dry today, and the clay of the last booking."""
    return {"dry_on": today, "clay": clay_id, "shelf_fraction": ""}
