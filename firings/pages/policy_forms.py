"""The studio's rules for queues, loads and openings, and where each default comes from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django import forms

from firings.actions.ware import POLICY_RANGES, SWITCHES
from firings.models import FiringPolicy
from studio.pages.unit_fields import CountField, LengthField, ReaderForm, TemperatureField

A_GUIDE = "A kiln maker's loading guide."
ROOM_GUIDE = "A supplier's kiln room guide"
SOURCES = {
    "opening_limit_c": "125 °F. Common practice, no source: published rules range from 50 to "
    "100 °C.",
    "glaze_gap_mm": f"A quarter inch between glazed pieces. {A_GUIDE}",
    "bisque_gap_mm": f"Bisque ware may touch. {A_GUIDE}",
    "bowls_nested_at_most": f"Off. Bisque ware may nest and stack. {A_GUIDE} How many, and that a "
    "nested bowl stands out by a third of its height: common practice, no source.",
    "lids_on_jars": f"Off. Bisque ware may stack. {A_GUIDE}",
    "tiles_on_edge": "Off. Common practice, no source; so are rows of 3 to 8 and 30 mm for props.",
    "lowest_post_mm": f"Half an inch (12.7 mm), rounded up. {A_GUIDE}",
    "gap_above_mm": f"Half an inch under what is above. {A_GUIDE}",
    "gap_to_posts_mm": "Common practice, no source.",
    "wait_percent_per_day": "Ours, no source: a day's wait makes ware worth 2 % more to a load.",
    "waits_at_most_days": "Ours, no source: after four weeks ware goes before all other.",
    "search_seconds_at_most": "Ours, no source.",
    "room_limit_c": f"{ROOM_GUIDE}: control faults above 100 °F.",
    "control_box_limit_c": f"{ROOM_GUIDE}: one maker's board cuts out at 160 °F; this stays "
    "about 5 °C below it.",
}
NO_DEFAULT = "Each studio lists its own; an empty list takes every cone."


@dataclass(frozen=True)
class DefaultValue:
    """One default as the policy page lists it: mm, C, a plain number, or a switch that is off."""

    label: str
    kind: str
    value: float
    source: str


def _length(name: str, label: str, help_text: str) -> LengthField:
    low, high = POLICY_RANGES[name]
    return LengthField(label=label, help_text=help_text, min_mm=low, max_mm=high)


def _temperature(name: str, label: str, help_text: str) -> TemperatureField:
    low, high = POLICY_RANGES[name]
    return TemperatureField(label=label, help_text=help_text, min_c=low, max_c=high)


def _count(name: str, label: str, help_text: str) -> CountField:
    low, high = POLICY_RANGES[name]
    return CountField(label=label, help_text=help_text, min_value=low, max_value=high)


class ListField(forms.CharField):
    """Several words in one field; returns them as a list without repeats."""

    separator = ","

    def clean(self, value: Any) -> list[str]:
        text = str(super().clean(value) or "")
        words = [word.strip() for word in text.replace("\r", "").split(self.separator)]
        return list(dict.fromkeys(word for word in words if word))

    def prepare_value(self, value: Any) -> Any:
        joint = self.separator if self.separator.isspace() else f"{self.separator} "
        return joint.join(value) if isinstance(value, list) else value


class LinesField(ListField):
    separator = "\n"


class PolicyForm(ReaderForm):
    opening_limit_c = _temperature(
        "opening_limit_c",
        "Kilns are opened at or below",
        "Above it, opening needs a reason, and the page says what can happen to ware and hands.",
    )
    glaze_gap_mm = _length(
        "glaze_gap_mm", "Gap between glazed pieces", "Half of it is charged on each side."
    )
    bisque_gap_mm = _length(
        "bisque_gap_mm", "Gap between pieces in a bisque", "Zero: they may touch."
    )
    bowls_nested_at_most = _count(
        "bowls_nested_at_most",
        "Like bowls standing in each other in a bisque, at most",
        "1: none. Caution: the lowest carries all of them and can crack or stick, and thick or "
        "damp bowls dry and heat slowly in the middle of a nest. Only bone dry, light, unglazed "
        "bowls of one kind.",
    )
    lids_on_jars = forms.BooleanField(
        label="In a bisque, fire lids on their jars",
        required=False,
        help_text="Caution: no glaze, slip or wax where they touch, or they fire together; a tight "
        "lid can warp with its jar or jam. A lid goes on a round jar of its slip that is as wide.",
    )
    tiles_on_edge = forms.BooleanField(
        label="In a bisque, stand tiles on edge",
        required=False,
        help_text="Caution: a row that is not propped at both ends falls over and breaks ware; "
        "tiles can bend. Rows of 3 to 8 like tiles, with room for the props.",
    )
    lowest_post_mm = _length(
        "lowest_post_mm",
        "Posts under the bottom shelf, at least",
        "Nothing stands on the kiln floor.",
    )
    gap_above_mm = _length("gap_above_mm", "Gap above the tallest piece", "To shelf or lid.")
    gap_to_posts_mm = _length("gap_to_posts_mm", "Gap between ware and posts", "")
    wait_percent_per_day = _count(
        "wait_percent_per_day",
        "What a day's wait adds to the worth of ware, in percent",
        "The planner fills shelves with what is worth most: area, and how long it has waited.",
    )
    waits_at_most_days = _count(
        "waits_at_most_days",
        "Days after which ware goes before all other",
        "So nobody's ware waits for ever, even if the load is then less full.",
    )
    search_seconds_at_most = _count(
        "search_seconds_at_most",
        "Seconds to look for a better load",
        "The first answer comes at once; looking on stops sooner when nothing can be better.",
    )
    room_limit_c = _temperature("room_limit_c", "Alarm when the room is above", "Crew are told.")
    control_box_limit_c = _temperature(
        "control_box_limit_c", "Alarm when the control box reaches", "Crew are told."
    )
    bisque_cones = ListField(
        label="Cones of bisque firings",
        required=False,
        max_length=200,
        help_text="With commas between, such as 06, 04. Mind the zero: 06 is far cooler than 6.",
    )
    glaze_cones = ListField(
        label="Cones of glaze firings",
        required=False,
        max_length=200,
        help_text="With commas between, such as 04, 6, 10.",
    )
    pick_up_places = LinesField(
        label="Places on the pick-up shelf",
        required=False,
        max_length=2000,
        help_text="One on each line.",
        widget=forms.Textarea({"rows": 5}),
    )

    @staticmethod
    def initial_of(policy: FiringPolicy) -> dict[str, Any]:
        return {name: getattr(policy, name) for name in PolicyForm.base_fields}


def _kind(name: str) -> str:
    if name in SWITCHES:
        return "switch"
    return {"c": "temperature", "mm": "length"}.get(name.rsplit("_", 1)[-1], "count")


def default_values() -> list[DefaultValue]:
    """Every default with its source, in the order of the form."""
    return [
        DefaultValue(
            label=str(PolicyForm.base_fields[name].label),
            kind=_kind(name),
            value=FiringPolicy._meta.get_field(name).default,
            source=source,
        )
        for name, source in SOURCES.items()
    ]
