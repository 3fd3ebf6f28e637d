"""Serializers that take exactly what they name: an unknown field may be an unknown unit."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

from rest_framework import serializers


class ExactSerializer(serializers.Serializer[Any]):
    """Refuses fields it does not know: `height_in` is no `height_mm`, `temp_f` no `temp_c`."""

    def to_internal_value(self, data: Any) -> Any:
        if isinstance(data, Mapping):
            known = [name for name, field in self.fields.items() if not field.read_only]
            unknown = [name for name in data if name not in known]
            if unknown:
                told = (
                    "This field is not known here. Quantities carry their unit in the name; known "
                    f"are {', '.join(known)}."
                )
                raise serializers.ValidationError({name: [told] for name in unknown})
        return super().to_internal_value(data)


class MomentField(serializers.DateTimeField):
    """A moment with its offset from UTC; without one nobody knows when it was."""

    default_error_messages = {
        "no_offset": "Send the offset from UTC with the time, such as 2026-03-02T12:00:00Z."
    }

    def enforce_timezone(self, value: datetime) -> datetime:
        if value.utcoffset() is None:
            self.fail("no_offset")
        try:
            return value.astimezone(UTC)
        except OverflowError:
            self.fail("overflow")


def length_mm(**options: Any) -> serializers.IntegerField:
    """A length of ware, shelf or kiln in whole mm, up to 2 m."""
    options.setdefault("min_value", 1)
    options.setdefault("max_value", 2000)
    return serializers.IntegerField(**options)


class ReasonSerializer(ExactSerializer):
    reason = serializers.CharField(max_length=500)
