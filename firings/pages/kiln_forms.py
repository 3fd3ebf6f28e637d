"""Forms about kilns: plate and chamber, shelves, parts, service and keys for loggers."""

from __future__ import annotations

from typing import Any

from django import forms

from firings.actions.kilns import (
    BREAKER_A,
    CHAMBER_MM,
    COST_MINOR_MAX,
    POSTS_STACKED,
    POWER_W,
    SHELF_MM,
    SHELVES_COUNT,
    SUPPLY_V,
    ShelvesWanted,
)
from firings.calculations.cones import CONES
from firings.models import (
    Alloy,
    ChamberShape,
    Kiln,
    LifeUnit,
    PartKind,
    ShelfShape,
    ThermocoupleClass,
    ThermocoupleType,
    Vent,
)
from studio.pages.rows import FormWithRows
from studio.pages.unit_fields import AmountField, CountField, LengthField, PowerField, ReaderForm
from studio.pages.widgets import DayInput

CONE_CHOICES = [(cone, f"Cone {cone}") for cone in CONES]


def check_depth(form: forms.Form, cleaned: dict[str, Any], shape: str, depth: str) -> None:
    """A rectangle has a depth; nothing else has one."""
    is_rectangle = cleaned.get(shape) == "rectangle"
    if is_rectangle and cleaned.get(depth) is None and depth not in form.errors:
        form.add_error(depth, "A rectangle needs its depth.")
    if not is_rectangle and shape in cleaned and cleaned.get(depth) is not None:
        form.add_error(depth, "Only a rectangle has a depth: leave this empty.")


class PostRow(ReaderForm):
    """One height of posts; a line that was emptied takes its height away."""

    height_mm = LengthField(label="Height of the post", min_mm=5, max_mm=600, required=False)


class KilnForm(FormWithRows):
    """What the kiln's plate and its chamber say, and the posts it has."""

    row_form = PostRow
    rows_min, rows_max, rows_extra = 0, 20, 4

    name = forms.CharField(label="Name", max_length=60)
    room = forms.CharField(label="Room", max_length=60, required=False)
    chamber_shape = forms.ChoiceField(label="Shape of the chamber", choices=ChamberShape.choices)
    chamber_across_mm = LengthField(
        label="Width of the chamber",
        help_text="Diameter if round, across the flats if octagonal.",
        min_mm=CHAMBER_MM[0],
        max_mm=CHAMBER_MM[1],
    )
    chamber_depth_mm = LengthField(
        label="Depth of the chamber",
        help_text="Only of a rectangular chamber.",
        min_mm=CHAMBER_MM[0],
        max_mm=CHAMBER_MM[1],
        required=False,
    )
    chamber_height_mm = LengthField(
        label="Height of the chamber", min_mm=CHAMBER_MM[0], max_mm=CHAMBER_MM[1]
    )
    thermocouple_height_mm = LengthField(
        label="Height of the thermocouple",
        help_text="Of its tip above the floor. Empty: half the chamber's height is taken.",
        min_mm=1,
        max_mm=CHAMBER_MM[1],
        required=False,
    )
    keep_from_wall_mm = LengthField(
        label="Ware keeps this far from the walls",
        help_text="For the elements' sake. One inch is common practice, no source.",
        min_mm=0,
        max_mm=200,
        initial=25,
    )
    rated_power_w = PowerField(
        label="Rated power", help_text="From the plate.", min_w=POWER_W[0], max_w=POWER_W[1]
    )
    supply_v = forms.IntegerField(
        label="Supply (V)", min_value=SUPPLY_V[0], max_value=SUPPLY_V[1], initial=240
    )
    breaker_a = forms.IntegerField(
        label="Breaker (A)",
        help_text="From the breaker itself. A licensed electrician decides whether it is right.",
        min_value=BREAKER_A[0],
        max_value=BREAKER_A[1],
    )
    vent = forms.ChoiceField(label="Vent", choices=Vent.choices)
    cone_limit = forms.ChoiceField(
        label="Cone limit",
        help_text="The hottest cone its maker allows.",
        choices=CONE_CHOICES,
        initial="10",
    )
    posts_stacked_at_most = CountField(
        label="Posts stacked at most",
        min_value=POSTS_STACKED[0],
        max_value=POSTS_STACKED[1],
        initial=2,
    )
    post_width_mm = LengthField(label="Width of a post", min_mm=10, max_mm=150, initial=38)
    witness_every_firings = CountField(
        label="Witness cones at least every so many firings",
        help_text="Shown before the start when overdue. Four is common practice, no source.",
        min_value=1,
        max_value=50,
        initial=4,
    )
    meter_class_percent = forms.DecimalField(
        label="Accuracy class of its meter (%)",
        help_text="From the meter's face; 2 if unknown.",
        min_value=0,
        max_value=10,
        decimal_places=2,
        initial=2,
    )
    thermocouple_type = forms.ChoiceField(
        label="Thermocouple",
        help_text="From its wire or its connector. It says how far a reading can be off.",
        choices=ThermocoupleType.choices,
        initial=ThermocoupleType.K,
    )
    thermocouple_class = forms.ChoiceField(
        label="Its tolerance class",
        help_text="From its maker's sheet; standard if unknown.",
        choices=ThermocoupleClass.choices,
        initial=ThermocoupleClass.STANDARD,
    )
    in_use_since = forms.DateField(label="In use since", required=False, widget=DayInput)
    note = forms.CharField(
        label="Note", required=False, max_length=2000, widget=forms.Textarea({"rows": 3})
    )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        check_depth(self, cleaned, "chamber_shape", "chamber_depth_mm")
        return cleaned

    sections = (
        ("The kiln", ("name", "room", "in_use_since", "note")),
        (
            "Chamber",
            (
                "chamber_shape",
                "chamber_across_mm",
                "chamber_depth_mm",
                "chamber_height_mm",
                "thermocouple_height_mm",
                "keep_from_wall_mm",
                "cone_limit",
                "witness_every_firings",
            ),
        ),
        (
            "Power and air",
            ("rated_power_w", "supply_v", "breaker_a", "meter_class_percent", "vent"),
        ),
        (
            "Temperature",
            ("thermocouple_type", "thermocouple_class"),
        ),
    )

    def in_sections(self) -> list[tuple[str, list[forms.BoundField]]]:
        """The fields under the headings they stand under on the page."""
        return [(title, [self[name] for name in names]) for title, names in self.sections]

    @staticmethod
    def fields_of(cleaned: dict[str, Any]) -> dict[str, Any]:
        """What the actions take."""
        posts = [row["height_mm"] for row in cleaned["rows"] if row.get("height_mm")]
        return {**cleaned, "post_heights_mm": posts}

    @staticmethod
    def initial_of(kiln: Kiln) -> dict[str, Any]:
        fields = {name: getattr(kiln, name) for name in KilnForm.base_fields}
        return {**fields, "rows": [{"height_mm": height} for height in kiln.post_heights_mm]}


class ShelvesForm(ReaderForm):
    """The standard shelves of a kiln."""

    shelf_shape = forms.ChoiceField(label="Shape of the shelves", choices=ShelfShape.choices)
    shelf_across_mm = LengthField(
        label="Width of a shelf",
        help_text="Diameter if round or half-round, across the flats if octagonal.",
        min_mm=SHELF_MM[0],
        max_mm=SHELF_MM[1],
    )
    shelf_depth_mm = LengthField(
        label="Depth of a shelf",
        help_text="Only of a rectangular shelf.",
        min_mm=SHELF_MM[0],
        max_mm=SHELF_MM[1],
        required=False,
    )
    shelf_thickness_mm = LengthField(label="Thickness", min_mm=5, max_mm=60, initial=16)
    shelf_count = CountField(
        label="How many",
        help_text="Half-rounds count one by one; they stand in pairs.",
        min_value=SHELVES_COUNT[0],
        max_value=SHELVES_COUNT[1],
        initial=4,
    )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        check_depth(self, cleaned, "shelf_shape", "shelf_depth_mm")
        return cleaned

    @staticmethod
    def wanted(cleaned: dict[str, Any]) -> ShelvesWanted:
        """What the actions take."""
        return ShelvesWanted(
            shape=cleaned["shelf_shape"],
            across_mm=cleaned["shelf_across_mm"],
            depth_mm=cleaned["shelf_depth_mm"],
            thickness_mm=cleaned["shelf_thickness_mm"],
            count=cleaned["shelf_count"],
        )

    @staticmethod
    def initial_of(kiln: Kiln) -> dict[str, Any]:
        shelves = kiln.shelf_sets.filter(is_standard=True).first()
        if shelves is None:
            return {}
        names = ("shape", "across_mm", "depth_mm", "thickness_mm", "count")
        return {f"shelf_{name}": getattr(shelves, name) for name in names}


class NewKilnForm(ShelvesForm, KilnForm):
    """A kiln with its shelves."""

    field_order = (*KilnForm.base_fields, *ShelvesForm.base_fields)
    sections = (*KilnForm.sections, ("Shelves", tuple(ShelvesForm.base_fields)))


class PartForm(ReaderForm):
    kind = forms.ChoiceField(label="Kind", choices=PartKind.choices)
    name = forms.CharField(label="Name", max_length=80, help_text="Such as: set of six elements")
    replacement_cost_minor = AmountField(
        label="Cost of replacing it", help_text="Parts and work.", max_minor=COST_MINOR_MAX
    )
    life_unit = forms.ChoiceField(
        label="Its life is counted in",
        help_text="An hour hotter than 1200 °C counts for more than one, a cooler one for less.",
        choices=LifeUnit.choices,
    )
    expected_life = forms.DecimalField(
        label="Expected life", min_value=1, max_value=100_000, decimal_places=2
    )
    alloy = forms.ChoiceField(
        label="Alloy of the wire",
        help_text="Of elements counted in hours: each alloy wears at its own pace when hot.",
        choices=Alloy.choices,
        initial=Alloy.A1,
        required=False,
    )
    fitted_on = forms.DateField(label="Fitted on", widget=DayInput)

    def clean_alloy(self) -> str:
        return self.cleaned_data["alloy"] or Alloy.A1


class ReasonForm(forms.Form):
    reason = forms.CharField(label="Why", max_length=500, widget=forms.Textarea({"rows": 3}))


class ReplaceForm(ReaderForm):
    cost_minor = AmountField(
        label="What replacing it cost",
        help_text="Parts and work. The kiln's wear reserve pays it as far as it goes.",
        max_minor=COST_MINOR_MAX,
    )
    reason = forms.CharField(
        label="What was found", required=False, max_length=500, widget=forms.Textarea({"rows": 3})
    )


class ReturnForm(forms.Form):
    needs_first_firing = forms.BooleanField(
        label="It must first be fired empty to cone 04, with a witness cone",
        help_text="So after new elements, new bricks or a repair of the chamber.",
        required=False,
        initial=True,
    )
    reason = forms.CharField(
        label="If not, why not",
        required=False,
        max_length=500,
        widget=forms.Textarea({"rows": 3}),
    )


class LoggerForm(forms.Form):
    name = forms.CharField(
        label="What will use the key", max_length=80, help_text="Such as: logger on the shelf"
    )
