"""Topics on which a kiln's meters publish by MQTT: set, changed, dropped."""

from __future__ import annotations

from typing import Any

from django import forms
from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from firings.actions.kiln_topics import drop_kiln_topic, set_kiln_topic
from firings.calculations.published_readings import UNITS_OF_FIELD
from firings.models import Kiln, KilnTopic, TimeUnit
from studio.models import Role
from studio.pages.access import needs
from studio.pages.answers import answer_deed, answer_form
from studio.pages.rows import FormWithRows

FIELD_WORDS = {
    "temp_c": "Temperature",
    "zone2_c": "Temperature, zone 2",
    "zone3_c": "Temperature, zone 3",
    "set_point_c": "Set point",
    "power_w": "Power",
    "duty": "Element duty",
    "register_wh": "Meter register",
    "room_c": "Room temperature",
    "control_box_c": "Control box temperature",
}
UNIT_SIGNS = {"C": "°C", "F": "°F", "fraction": "0 to 1", "percent": "%"}
VALUE_CHOICES = [
    (f"{field}:{unit}", f"{FIELD_WORDS[field]}, {UNIT_SIGNS.get(unit, unit)}")
    for field, units in UNITS_OF_FIELD.items()
    for unit in units
]


class ValueRow(forms.Form):
    value = forms.ChoiceField(label="What it is", choices=VALUE_CHOICES)
    path = forms.CharField(
        label="Where it stands in the message",
        required=False,
        max_length=120,
        help_text="Such as sensor.temp or channels[0].value. Empty: the message is the number.",
    )


class TopicForm(FormWithRows):
    row_form = ValueRow
    rows_min, rows_max, rows_extra = 1, 9, 1
    topic = forms.CharField(
        label="Topic", max_length=200, help_text="The whole of it, such as studio/kiln-1/readings."
    )
    time_path = forms.CharField(
        label="Where the time stands",
        required=False,
        max_length=120,
        help_text="Empty: the moment at which a message arrives.",
    )
    time_unit = forms.ChoiceField(label="How the time is written", choices=TimeUnit.choices)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        cleaned["fields"] = [
            (field, row.get("path", ""), unit)
            for row in cleaned.pop("rows", [])
            for field, _, unit in [row["value"].partition(":")]
        ]
        return cleaned


@needs(Role.MANAGER)
def topics(request: HttpRequest, pk: int) -> HttpResponse:
    """What is heard of a kiln, and one topic more, or one changed."""
    kiln = get_object_or_404(Kiln, pk=pk)
    return answer_form(
        request,
        TopicForm,
        "firings/kiln_topics.html",
        lambda cleaned: set_kiln_topic(by=request.user, at=timezone.now(), kiln=kiln, **cleaned),
        context={
            "kiln": kiln,
            "topics": [(row, _words(row)) for row in kiln.topics.all()],
            "is_listening": bool(settings.MQTT_URL),
        },
        done=lambda topic: f"Readings of {kiln} are taken from {topic}.",
        then=request.path,
    )


def _words(topic: KilnTopic) -> list[str]:
    names = dict(VALUE_CHOICES)
    return [
        f"{names[f'{field}:{unit}']} at {path}" if path else names[f"{field}:{unit}"]
        for field, path, unit in topic.fields
    ]


@needs(Role.MANAGER)
@require_POST
def drop(request: HttpRequest, pk: int) -> HttpResponse:
    topic = get_object_or_404(KilnTopic.objects.select_related("kiln"), pk=pk)
    return answer_deed(
        request,
        lambda: drop_kiln_topic(by=request.user, at=timezone.now(), kiln_topic=topic),
        done=f"{topic} is no longer heard.",
        then=reverse("firings:kiln_topics", args=[topic.kiln_id]),
    )
