"""A kiln's log comes as a file: uploaded, looked at with its columns guessed, then taken in.

Between the two pages the file waits in the shared cache for half an hour, for whoever sent it;
the database sees nothing before the whole file has been read without a fault.
"""

from __future__ import annotations

import secrets
from functools import partial
from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.core.cache import cache
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone

from firings.actions.readings import Received, add_firing_readings
from firings.calculations.readings_file import (
    MAX_LOG_BYTES,
    UNITS_OF_ROLE,
    ColumnMapping,
    LogFileError,
    LogPreview,
    MappedColumn,
    preview_log,
    read_log,
)
from firings.models import Firing, ReadingSource
from firings.pages.found import firing_numbered, page_of
from firings.refusals import WareRefusal
from studio.models import Role
from studio.pages.access import needs
from studio.pages.answers import answer_form
from studio.pages.context import studio_of
from studio.pages.widgets import MomentInput

KEPT_FOR_S = 30 * 60
UNUSED, NO_UNIT = "unused", "none"
ROLE_WORDS = (
    (UNUSED, "Not used"),
    ("time", "Date and time"),
    ("date", "Date"),
    ("clock", "Time of day"),
    ("elapsed", "Time since the start"),
    ("temp", "Temperature"),
    ("zone2", "Temperature, zone 2"),
    ("zone3", "Temperature, zone 3"),
    ("set_point", "Set point"),
    ("power", "Power"),
    ("duty", "Element duty"),
    ("register", "Meter register"),
    ("room", "Room temperature"),
    ("control_box", "Control box temperature"),
)
UNIT_WORDS = {
    NO_UNIT: "No unit",
    "iso": "Year first",
    "day_first": "Day first",
    "month_first": "Month first",
    "min": "Minutes",
    "h": "Hours",
    "s": "Seconds",
    "clock": "h:mm",
    "C": "°C",
    "F": "°F",
    "W": "W",
    "kW": "kW",
    "percent": "%",
    "fraction": "0 to 1",
    "kWh": "kWh",
    "Wh": "Wh",
}
DELIMITER_WORDS = {";": "semicolon", "\t": "tab", "|": "upright stroke", ",": "comma"}
MARK_WORDS = ((".", "Point: 12.5"), (",", "Comma: 12,5"))


class UploadForm(forms.Form):
    log = forms.FileField(
        label="Log file",
        help_text=f"CSV or text, at most {MAX_LOG_BYTES // 1024**2} MB. Nothing is stored yet: "
        "you see first how it is understood.",
        widget=forms.ClearableFileInput({"accept": ".csv,.txt,.tsv,.log,text/*"}),
        error_messages={"empty": "This file is empty. Choose another one."},
    )

    def clean_log(self) -> bytes:
        sent = self.cleaned_data["log"]
        if sent.size > MAX_LOG_BYTES:
            raise ValidationError(
                f"This file has {sent.size / 1024**2:.1f} MB; at most "
                f"{MAX_LOG_BYTES // 1024**2} MB can be read. Send it in parts.",
                code="too_large",
            )
        content: bytes = sent.read()
        try:
            preview_log(content)
        except LogFileError as error:
            raise ValidationError(list(error.messages)) from error
        return content


@needs(Role.CREW)
def upload(request: HttpRequest, number: int) -> HttpResponse:
    """Choose a file; it is kept until it has been looked at."""
    firing = firing_numbered(number)
    if firing.started_at is None:
        raise WareRefusal("not_started", f"{firing} has not started, so it has no log yet.")

    def keep(cleaned: dict[str, Any]) -> str:
        key = secrets.token_urlsafe(12)
        cache.set(_cache_key(request, firing, key), cleaned["log"], KEPT_FOR_S)
        return key

    return answer_form(
        request,
        UploadForm,
        "firings/upload_log.html",
        keep,
        context={"firing": firing, "back": page_of(firing)},
        then=lambda key: reverse("firings:preview_log", args=[firing.pk, key]),
    )


class MappingForm(forms.Form):
    """How each column is to be read; valid only when the whole file can be read that way."""

    decimal_mark = forms.ChoiceField(label="Decimal mark", choices=MARK_WORDS)
    started_at = forms.DateTimeField(
        label="The log starts at",
        required=False,
        widget=MomentInput,
        help_text="Only for a file that counts the time from its start.",
    )
    allow_disorder = forms.BooleanField(
        label="Sort lines that are not in order of time", required=False
    )

    def __init__(
        self, *args: Any, content: bytes, preview: LogPreview, zone: ZoneInfo, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.content, self.preview, self.zone = content, preview, zone
        self.fields["decimal_mark"].initial = preview.decimal_mark
        for guess in preview.columns:
            self.fields[f"role_{guess.index}"] = forms.ChoiceField(
                label=f"{guess.title} holds",
                choices=ROLE_WORDS,
                initial=guess.role or UNUSED,
            )
            self.fields[f"unit_{guess.index}"] = forms.ChoiceField(
                label=f"Unit of {guess.title}",
                choices=list(UNIT_WORDS.items()),
                initial=guess.unit or NO_UNIT,
            )

    def columns(self) -> list[tuple[Any, Any, Any]]:
        """Each column with its two fields, for the page."""
        return [
            (guess, self[f"role_{guess.index}"], self[f"unit_{guess.index}"])
            for guess in self.preview.columns
        ]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        columns = self._mapped(cleaned)
        if self.errors:
            return cleaned
        try:
            mapping = ColumnMapping(
                self.preview.delimiter,
                cleaned["decimal_mark"],
                tuple(columns),
                self.preview.first_line,
            )
            log = read_log(
                self.content,
                mapping,
                self.zone,
                cleaned["started_at"],
                allow_disorder=cleaned["allow_disorder"],
            )
        except LogFileError as error:
            raise ValidationError(list(error.messages)) from error
        return {"readings": log.readings}

    def _mapped(self, cleaned: dict[str, Any]) -> list[MappedColumn]:
        columns: list[MappedColumn] = []
        seen: dict[str, str] = {}
        for guess in self.preview.columns:
            role = cleaned.get(f"role_{guess.index}", UNUSED)
            if role == UNUSED:
                continue
            unit = self._unit(role, cleaned.get(f"unit_{guess.index}", NO_UNIT), guess.index)
            if role in seen:
                words = dict(ROLE_WORDS)[role]
                self.add_error(
                    f"role_{guess.index}", f"{words}: the column {seen[role]} holds it already."
                )
            elif unit is not None:
                columns.append(MappedColumn(guess.index, role, unit))
            seen.setdefault(role, guess.title)
        return columns

    def _unit(self, role: str, unit: str, index: int) -> str | None:
        allowed = UNITS_OF_ROLE[role]
        if len(allowed) == 1:
            return allowed[0]
        if unit not in allowed:
            words = ", ".join(UNIT_WORDS[one] for one in allowed)
            self.add_error(f"unit_{index}", f"Choose one of: {words}.")
            return None
        return unit


@needs(Role.CREW)
def preview(request: HttpRequest, number: int, key: str) -> HttpResponse:
    """Look at the columns, put them right, take the log in."""
    firing = firing_numbered(number)
    content = cache.get(_cache_key(request, firing, key))
    if content is None:
        raise WareRefusal(
            "upload_forgotten",
            "This upload is no longer kept: it waits half an hour, for whoever sent it. "
            "Send the file again.",
            status=404,
        )
    seen, zone = preview_log(content), studio_of(request).zone

    def take_in(cleaned: dict[str, Any]) -> Received:
        received = add_firing_readings(
            by=request.user,
            at=timezone.now(),
            firing=firing,
            readings=cleaned["readings"],
            source=ReadingSource.FILE,
        )
        cache.delete(_cache_key(request, firing, key))
        return received

    return answer_form(
        request,
        partial(MappingForm, content=content, preview=seen, zone=zone),
        "firings/preview_log.html",
        take_in,
        context={
            "firing": firing,
            "preview": seen,
            "delimiter": DELIMITER_WORDS[seen.delimiter],
            "zone": zone.key,
            "back": reverse("firings:upload_log", args=[firing.pk]),
        },
        initial={"started_at": firing.started_at},
        done=_taken_in,
        then=page_of(firing),
    )


def _taken_in(received: Received) -> str:
    known = f" {received.already_known} were known already." if received.already_known else ""
    return f"{received.stored} readings are taken in.{known}"


def _cache_key(request: HttpRequest, firing: Firing, key: str) -> str:
    return f"log:{request.user.pk}:{firing.pk}:{key}"
