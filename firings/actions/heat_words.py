"""A temperature beside a limit, said in the unit of who reads it."""

from __future__ import annotations

from decimal import Decimal
from typing import cast

from studio.calculations.quantities import TemperatureUnit, format_temperature
from studio.models import Person, Studio


def heat_words(temp_c: float, reader: Person | None) -> str:
    """A temperature to a tenth of a degree, in the unit of the reader, else of the studio."""
    studio = Studio.current()
    unit = (reader.temperature_unit if reader else "") or studio.temperature_unit
    exact_c = Decimal(str(temp_c))
    return format_temperature(exact_c, cast(TemperatureUnit, unit), studio.language, digits=1)
