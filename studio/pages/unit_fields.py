"""Form fields for quantities: a localised number and a unit from a choice.

What a person typed is never parsed together with its unit. Each field returns what is stored:
whole mm, Wh, W and minor units, degrees Celsius as a float.
"""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Any

from babel.numbers import NumberFormatError, format_decimal, parse_decimal
from django import forms
from django.core.exceptions import ValidationError

from studio.calculations import money, quantities
from studio.models import Studio
from studio.pages.context import Units, units_for
from studio.pages.widgets import CountInput

# parse_decimal would also take "NaN" and "1e9".
PLAIN_NUMBER = re.compile(
    r"[-+\N{MINUS SIGN}]?[\d.,'\N{NO-BREAK SPACE}\N{NARROW NO-BREAK SPACE} ]+"
)


class QuantityInput(forms.MultiWidget):
    """The number, and beside it a choice of units, or the unit itself where there is one."""

    template_name = "studio/parts/quantity_input.html"
    use_fieldset = False  # the label names the number, aria-label the unit

    def __init__(self, field: QuantityField) -> None:
        self.field = field
        number = forms.TextInput({"inputmode": "decimal", "autocomplete": "off"})
        super().__init__({"": number, "unit": forms.Select(choices=list(field.units.items()))})

    def decompress(self, value: Any) -> list[str]:
        return [self.field.shown(value), self.field.unit]

    def value_from_datadict(self, data: Any, files: Any, name: str) -> list[Any]:
        number, unit = super().value_from_datadict(data, files, name)
        return [number, unit or (self.field.unit if len(self.field.units) == 1 else "")]

    def id_for_label(self, id_: str) -> str:
        return f"{id_}_0" if id_ else id_

    def get_context(self, name: str, value: Any, attrs: dict[str, Any] | None) -> dict[str, Any]:
        context = super().get_context(name, value, attrs)
        number, unit = context["widget"]["subwidgets"]
        unit["attrs"]["aria-label"] = f"Unit of {self.field.label or name}"
        unit["attrs"].pop("aria-describedby", None)
        unit["attrs"].pop("aria-invalid", None)
        context["widget"].update(number=number, unit=unit, only=self._only_unit())
        return context

    def _only_unit(self) -> str:
        units = self.field.units
        return next(iter(units.values())) if len(units) == 1 else ""


class QuantityField(forms.MultiValueField):
    """Base of the fields below; `low` and `high` are bounds in the stored unit."""

    units: dict[str, str] = {}
    may_be_negative = False
    places = 2

    def __init__(
        self, *, low: float | None = None, high: float | None = None, **kwargs: Any
    ) -> None:
        self.low, self.high = low, high
        self.units = dict(type(self).units)
        self.unit = next(iter(self.units), "")
        self.locale = "en"
        kwargs.setdefault("widget", QuantityInput(self))
        super().__init__((forms.CharField(max_length=24), forms.CharField()), **kwargs)

    def __deepcopy__(self, memo: dict[int, Any]) -> QuantityField:
        # The widget asks its field for units; a copy of the form has a field of its own.
        copied: QuantityField = super().__deepcopy__(memo)
        copied.units = dict(self.units)
        copied.widget.field = copied
        return copied

    def read_by(self, units: Units) -> None:
        """Show and expect the reader's unit and number format."""
        self.locale = units.locale

    def to_stored(self, number: Decimal, unit: str) -> Any:
        raise ValueError(f"{type(self).__name__} does not say how {unit} is stored")

    def from_stored(self, stored: Any, unit: str) -> Decimal:
        raise ValueError(f"{type(self).__name__} does not say how {unit} is shown")

    def shown(self, stored: Any, unit: str | None = None) -> str:
        """The stored value as it stands in the input, without unit and without grouping."""
        if stored in self.empty_values:
            return ""
        number = self.from_stored(stored, unit or self.unit)
        pattern = f"0.{'#' * self.places}" if self.places else "0"
        return format_decimal(number, pattern, locale=self.locale)

    def compress(self, values: list[Any]) -> Any:
        text, unit = values or ("", "")
        if text in self.empty_values:
            return None
        if unit not in self.units:
            raise ValidationError("Choose the unit from the list.", code="unknown_unit")
        stored = self._stored(self._number(text), unit)
        self._check_bounds(stored, unit)
        return stored

    def clean(self, value: Any) -> Any:
        # Only a missing number is "required"; a missing unit has a message of its own.
        if not value or value[0] in self.empty_values:
            if self.required:
                raise ValidationError(self.error_messages["required"], code="required")
            return None
        if len(str(value[0])) > 24:
            raise ValidationError("This number is too long.", code="too_long")
        cleaned = self.compress([str(value[0]).strip(), value[1]])
        self.run_validators(cleaned)
        return cleaned

    def has_changed(self, initial: Any, data: Any) -> bool:
        # A unit alone is no entry, or every empty row of a table would count as filled.
        if not data or data[0] in self.empty_values:
            return initial not in self.empty_values
        try:
            return bool(self.clean(data) != initial)
        except ValidationError:
            return True

    def _number(self, text: str) -> Decimal:
        example = format_decimal(Decimal("12.5"), "0.#", locale=self.locale)
        message = f"Write a plain number here, such as {example}, and choose its unit beside it."
        if not PLAIN_NUMBER.fullmatch(text):
            raise ValidationError(message, code="not_a_number")
        try:
            return parse_decimal(text, locale=self.locale, strict=True)
        except NumberFormatError:
            raise ValidationError(message, code="not_a_number") from None

    def _stored(self, number: Decimal, unit: str) -> Any:
        has_room_below_zero = self.may_be_negative or (self.low is not None and self.low < 0)
        if number < 0 and not has_room_below_zero:
            raise ValidationError("This cannot be less than zero.", code="negative")
        try:
            return self.to_stored(number, unit)
        except ValueError:
            raise ValidationError("This value is not possible.", code="impossible") from None

    def _check_bounds(self, stored: Any, unit: str) -> None:
        sign = self.units[unit]
        if self.low is not None and stored < self.low:
            raise ValidationError(
                f"This must be at least {self.shown(self.low, unit)} {sign}.", code="too_small"
            )
        if self.high is not None and stored > self.high:
            raise ValidationError(
                f"This must be at most {self.shown(self.high, unit)} {sign}.", code="too_large"
            )


class LengthField(QuantityField):
    """A length; returns whole mm."""

    units: dict[str, str] = {"cm": "cm", "mm": "mm", "in": "in"}

    def __init__(
        self, *, min_mm: int | None = None, max_mm: int | None = None, **kwargs: Any
    ) -> None:
        super().__init__(low=min_mm, high=max_mm, **kwargs)

    def read_by(self, units: Units) -> None:
        super().read_by(units)
        self.unit = units.length

    def to_stored(self, number: Decimal, unit: str) -> int:
        return quantities.length_to_mm(number, unit)  # type: ignore[arg-type]

    def from_stored(self, stored: Any, unit: str) -> Decimal:
        return quantities.mm_to(stored, unit)  # type: ignore[arg-type]


class AreaField(QuantityField):
    """An area; returns whole mm2."""

    units: dict[str, str] = {"cm2": "cm²", "in2": "in²"}

    def __init__(
        self, *, min_mm2: int | None = None, max_mm2: int | None = None, **kwargs: Any
    ) -> None:
        super().__init__(low=min_mm2, high=max_mm2, **kwargs)

    def read_by(self, units: Units) -> None:
        super().read_by(units)
        self.unit = "in2" if units.length == "in" else "cm2"

    def to_stored(self, number: Decimal, unit: str) -> int:
        return quantities.area_to_mm2(number, unit)  # type: ignore[arg-type]

    def from_stored(self, stored: Any, unit: str) -> Decimal:
        return quantities.area_mm2_to(stored, unit)  # type: ignore[arg-type]


class TemperatureField(QuantityField):
    """A temperature; returns degrees Celsius as a float."""

    units: dict[str, str] = {"C": "°C", "F": "°F"}
    may_be_negative = True

    def __init__(
        self, *, min_c: float | None = None, max_c: float | None = None, **kwargs: Any
    ) -> None:
        super().__init__(low=min_c, high=max_c, **kwargs)

    def read_by(self, units: Units) -> None:
        super().read_by(units)
        self.unit = units.temperature

    def to_stored(self, number: Decimal, unit: str) -> float:
        return float(quantities.temperature_to_c(number, unit))  # type: ignore[arg-type]

    def from_stored(self, stored: Any, unit: str) -> Decimal:
        return quantities.c_to(Decimal(str(stored)), unit)  # type: ignore[arg-type]


class EnergyField(QuantityField):
    """An energy or a meter's register, typed in kWh; returns whole Wh."""

    units: dict[str, str] = {"kWh": "kWh"}
    places = 3

    def __init__(self, *, min_wh: int | None = 0, max_wh: int | None = None, **kwargs: Any) -> None:
        super().__init__(low=min_wh, high=max_wh, **kwargs)

    def to_stored(self, number: Decimal, unit: str) -> int:
        return quantities.kwh_to_wh(number)

    def from_stored(self, stored: Any, unit: str) -> Decimal:
        return quantities.wh_to_kwh(int(stored))


class PowerField(QuantityField):
    """A power, typed in kW or W; returns whole W."""

    units: dict[str, str] = {"kW": "kW", "W": "W"}
    places = 3

    def __init__(self, *, min_w: int | None = 0, max_w: int | None = None, **kwargs: Any) -> None:
        super().__init__(low=min_w, high=max_w, **kwargs)

    def to_stored(self, number: Decimal, unit: str) -> int:
        return quantities.kw_to_w(number) if unit == "kW" else money.round_half_up(number)

    def from_stored(self, stored: Any, unit: str) -> Decimal:
        watts = Decimal(int(stored))
        return watts / 1000 if unit == "kW" else watts


class AmountField(QuantityField):
    """An amount in the studio's currency; returns whole minor units, exactly as typed."""

    units: dict[str, str] = {"": ""}
    places = 4

    def __init__(
        self, *, min_minor: int | None = 0, max_minor: int | None = None, **kwargs: Any
    ) -> None:
        super().__init__(low=min_minor, high=max_minor, **kwargs)

    def read_by(self, units: Units) -> None:
        super().read_by(units)
        self.units, self.unit = {units.currency: units.currency}, units.currency

    def to_stored(self, number: Decimal, unit: str) -> int:
        return money.to_minor(number, unit)

    def from_stored(self, stored: Any, unit: str) -> Decimal:
        return money.from_minor(int(stored), unit)

    def shown(self, stored: Any, unit: str | None = None) -> str:
        if stored in self.empty_values:
            return ""
        digits = money.minor_digits(unit or self.unit)
        number = self.from_stored(stored, unit or self.unit)
        return format_decimal(number, f"0.{'0' * digits}" if digits else "0", locale=self.locale)

    def _stored(self, number: Decimal, unit: str) -> int:
        digits = money.minor_digits(unit)
        if number != round(number, digits):
            raise ValidationError(
                f"{unit} has {digits} decimals: write the amount without smaller parts.",
                code="too_fine",
            )
        return int(super()._stored(number, unit))


class CountField(forms.IntegerField):
    """How many: a whole number between two bounds, with buttons for more and fewer."""

    widget = CountInput

    def __init__(self, *, min_value: int = 1, max_value: int, **kwargs: Any) -> None:
        range_message = f"Write a whole number from {min_value} to {max_value}."
        messages = {"invalid": range_message, **kwargs.pop("error_messages", {})}
        super().__init__(
            min_value=min_value, max_value=max_value, error_messages=messages, **kwargs
        )
        for validator in self.validators:
            validator.message = range_message  # type: ignore[attr-defined]


class ReaderForm(forms.Form):
    """A form that shows and reads quantities in the units of its reader."""

    def __init__(self, *args: Any, units: Units | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.units = units or units_for(Studio.current())
        for field in self.fields.values():
            if isinstance(field, QuantityField):
                field.read_by(self.units)
