"""A kiln's log comes as a file: uploaded, looked at with its columns guessed, then taken in.

Between the two pages the file waits for half an hour, for whoever sent it. What a person confirms
is remembered for the kiln, and its next file comes filled in.
"""

from __future__ import annotations

from functools import partial
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import UploadedFile
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone

from firings.actions.take_in_log import (
    TakenIn,
    remembered_delimiter,
    remembered_layout,
    take_in_log,
)
from firings.calculations.log_columns import EMF_UNITS
from firings.calculations.log_stream import check_mapping
from firings.calculations.readings_file import (
    MAX_LOG_BYTES,
    UNITS_OF_ROLE,
    ColumnMapping,
    LogFileError,
    LogPreview,
    MappedColumn,
    preview_log,
)
from firings.models import Firing
from firings.pages.found import firing_numbered, page_of
from firings.pages.kept_log import forget_log, is_kept, keep_log, kept_pieces
from firings.refusals import WareRefusal
from studio.models import Role
from studio.pages.access import needs
from studio.pages.answers import answer_form
from studio.pages.context import studio_of, units_of
from studio.pages.unit_fields import ReaderForm, TemperatureField
from studio.pages.widgets import MomentInput

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
    ("cold_junction", "Cold junction of the thermocouple"),
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
    **{unit: f"mV, type {unit[-1]}" for unit in EMF_UNITS},
    "W": "W",
    "kW": "kW",
    "percent": "%",
    "fraction": "0 to 1",
    "kWh": "kWh",
    "Wh": "Wh",
}
# A tab would not survive as the value of a choice.
DELIMITERS_NAMED = {"semicolon": ";", "tab": "\t", "stroke": "|", "comma": ","}
DELIMITER_CHOICES = (
    ("semicolon", "Semicolon"),
    ("tab", "Tab"),
    ("stroke", "Upright stroke"),
    ("comma", "Comma"),
)
MARK_WORDS = ((".", "Point: 12.5"), (",", "Comma: 12,5"))


class UploadForm(forms.Form):
    log = forms.FileField(
        label="Log file",
        help_text=f"CSV or text, at most {MAX_LOG_BYTES // 1024**2} MB. Nothing is stored yet: "
        "you see first how it is understood.",
        widget=forms.ClearableFileInput({"accept": ".csv,.txt,.tsv,.log,text/*"}),
        error_messages={"empty": "This file is empty. Choose another one."},
    )

    def clean_log(self) -> UploadedFile:
        sent: UploadedFile = self.cleaned_data["log"]
        if (sent.size or 0) > MAX_LOG_BYTES:
            raise ValidationError(
                f"This file has {(sent.size or 0) / 1024**2:.1f} MB; at most "
                f"{MAX_LOG_BYTES // 1024**2} MB can be read. Send it in parts.",
                code="too_large",
            )
        try:
            preview_log(sent.chunks())
        except LogFileError as error:
            raise ValidationError(list(error.messages)) from error
        return sent


@needs(Role.CREW)
def upload(request: HttpRequest, number: int) -> HttpResponse:
    """Choose a file; it is kept until it has been looked at."""
    firing = firing_numbered(number)
    if firing.started_at is None:
        raise WareRefusal("not_started", f"{firing} has not started, so it has no log yet.")
    return answer_form(
        request,
        UploadForm,
        "firings/upload_log.html",
        lambda cleaned: keep_log(_owner(request, firing), cleaned["log"]),
        context={"firing": firing, "back": page_of(firing)},
        then=lambda key: reverse("firings:preview_log", args=[firing.pk, key]),
    )


class CutForm(forms.Form):
    """What parts the columns, when the guess is wrong; sent by GET, as it changes nothing."""

    delimiter = forms.ChoiceField(label="Columns are parted by", choices=DELIMITER_CHOICES)


class MappingForm(ReaderForm):
    """How each column is to be read."""

    decimal_mark = forms.ChoiceField(label="Decimal mark", choices=MARK_WORDS)
    first_line = forms.IntegerField(
        label="The first line with readings", min_value=1, max_value=10_000
    )
    cold_junction_c = TemperatureField(
        label="Cold junction",
        min_c=-20,
        max_c=100,
        required=False,
        help_text="Only for millivolts without a column for it: how warm the terminals of the "
        "thermocouple were.",
    )
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
        self, *args: Any, preview: LogPreview, known: ColumnMapping, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.preview = preview
        self.fields["decimal_mark"].initial = known.decimal_mark
        self.fields["first_line"].initial = known.first_line
        self.fields["cold_junction_c"].initial = known.cold_junction_c
        held = {column.index: column for column in known.columns}
        for guess in preview.columns:
            column = held.get(guess.index)
            self.fields[f"role_{guess.index}"] = forms.ChoiceField(
                label=f"{guess.title} holds",
                choices=ROLE_WORDS,
                initial=column.role if column else UNUSED,
            )
            self.fields[f"unit_{guess.index}"] = forms.ChoiceField(
                label=f"Unit of {guess.title}",
                choices=list(UNIT_WORDS.items()),
                initial=(column.unit if column else "") or NO_UNIT,
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
        mapping = ColumnMapping(
            self.preview.delimiter,
            cleaned["decimal_mark"],
            tuple(columns),
            cleaned["first_line"],
            cleaned["cold_junction_c"],
        )
        try:
            check_mapping(mapping, cleaned["started_at"])
        except LogFileError as error:
            raise ValidationError(list(error.messages)) from error
        return {**cleaned, "mapping": mapping}

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
    owner = _owner(request, firing)
    if not is_kept(owner, key):
        raise WareRefusal(
            "upload_forgotten",
            "This upload is no longer kept: it waits half an hour, for whoever sent it. "
            "Send the file again.",
            status=404,
        )
    seen, known, is_remembered = _understood(request, firing, key)

    def take_in(cleaned: dict[str, Any]) -> TakenIn:
        taken = take_in_log(
            by=request.user,
            at=timezone.now(),
            firing=firing,
            log=kept_pieces(owner, key),
            mapping=cleaned["mapping"],
            titles=seen.header,
            log_started_at=cleaned["started_at"],
            allow_disorder=cleaned["allow_disorder"],
        )
        forget_log(owner, key)
        return taken

    named = next(name for name, sign in DELIMITERS_NAMED.items() if sign == seen.delimiter)
    return answer_form(
        request,
        partial(MappingForm, preview=seen, known=known, units=units_of(request)),
        "firings/preview_log.html",
        take_in,
        context={
            "firing": firing,
            "preview": seen,
            "is_remembered": is_remembered,
            "cut_form": CutForm(initial={"delimiter": named}),
            "zone": studio_of(request).zone.key,
            "back": reverse("firings:upload_log", args=[firing.pk]),
        },
        initial={"started_at": firing.started_at},
        done=_taken_in,
        then=page_of(firing),
    )


def _understood(
    request: HttpRequest, firing: Firing, key: str
) -> tuple[LogPreview, ColumnMapping, bool]:
    """The file as a person says it is parted, or as the kiln's last one was, or as it seems."""
    kind, owner = firing.kiln.thermocouple_type, _owner(request, firing)
    chosen = DELIMITERS_NAMED.get(request.GET.get("delimiter", ""))
    for delimiter in (chosen, None if chosen else remembered_delimiter(firing.kiln)):
        if delimiter is not None:
            seen = preview_log(kept_pieces(owner, key), delimiter, kind)
            known = remembered_layout(firing.kiln, seen)
            if known is not None and known.delimiter == seen.delimiter:
                return seen, known, True
    seen = preview_log(kept_pieces(owner, key), chosen, kind)
    return seen, seen.mapping(), False


def _taken_in(taken: TakenIn) -> str:
    known = f" {taken.already_known} were known already." if taken.already_known else ""
    told = "".join(f" {warning}" for warning in taken.warnings)
    return f"{taken.stored} readings are taken in.{known}{told}"


def _owner(request: HttpRequest, firing: Firing) -> str:
    return f"{request.user.pk}:{firing.pk}"
