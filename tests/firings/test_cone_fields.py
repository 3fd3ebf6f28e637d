"""SQLite takes a text of any length; PostgreSQL refuses one that is too long for its column."""

from django.apps import apps
from django.db.models import CharField

from firings.calculations.cones import CONES


def test_every_cone_fits_into_every_field_of_a_cone():
    fields = [
        field
        for model in apps.get_app_config("firings").get_models()
        for field in model._meta.get_fields()
        if isinstance(field, CharField) and "cone" in field.name
    ]
    longest = max(map(len, CONES))
    assert len(fields) >= 9
    assert [str(field) for field in fields if field.max_length < longest] == []
