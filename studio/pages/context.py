"""What every page knows: the studio, who reads, in which units, and where they may go."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from babel import Locale, UnknownLocaleError
from django.conf import settings
from django.http import HttpRequest

from studio.models import Person, Studio
from studio.pages.nav import menu_for


@dataclass(frozen=True)
class Units:
    """How one reader reads: length `cm` or `in`, temperature `C` or `F`, number format, money."""

    length: str
    temperature: str
    locale: str
    currency: str


def studio_of(request: HttpRequest) -> Studio:
    """The studio's row, read once for each request."""
    if not hasattr(request, "_studio"):
        request._studio = Studio.current()  # type: ignore[attr-defined]
    return request._studio  # type: ignore[attr-defined, no-any-return]


def units_of(request: HttpRequest) -> Units:
    """The units that the person who asks wants to read, else the studio's."""
    person = request.user if request.user.is_authenticated else None
    return units_for(studio_of(request), person)


def units_for(studio: Studio, person: Person | None = None) -> Units:
    """The units of `person`, each falling back to the studio's."""
    return Units(
        length=(person.length_unit if person else "") or studio.length_unit,
        temperature=(person.temperature_unit if person else "") or studio.temperature_unit,
        locale=locale_of(studio),
        currency=studio.currency,
    )


def locale_of(studio: Studio) -> str:
    """The studio's language as a locale that knows its number and date formats."""
    name = studio.language.replace("-", "_")
    try:
        return str(Locale.parse(name))
    except (UnknownLocaleError, ValueError):
        return "en"


def page_context(request: HttpRequest) -> dict[str, Any]:
    """Context processor: one query for the studio, one for the roles of whoever signed in."""
    person = request.user if getattr(request, "user", None) else None
    if person is not None and not person.is_authenticated:
        person = None
    studio = studio_of(request)
    return {
        "studio": studio,
        "me": person,
        "my_roles": person.roles if person else frozenset(),
        "units": units_for(studio, person),
        "nav": menu_for(request.path, person.roles) if person else (),
        "is_demo": settings.IS_DEMO,
    }
