"""The batches the API takes of readings, and what it answers."""

from __future__ import annotations

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from firings.api.exact import ExactSerializer
from firings.api.reading_batch import ReadingListField
from firings.api.reading_serializers import MomentSerializer
from firings.models import ReadingSource


@extend_schema_field(MomentSerializer(many=True))
class ReadingsField(ReadingListField):
    """Readings in any order, up to 10,000."""


class BatchSerializer(ExactSerializer):
    """Readings in any order. The same batch twice changes nothing."""

    readings = ReadingsField()


class PersonsBatchSerializer(BatchSerializer):
    """Readings that a person sends: from a file, or read off a pyrometer."""

    source = serializers.ChoiceField(
        choices=[ReadingSource.FILE, ReadingSource.HAND], default=ReadingSource.FILE
    )


class ReceivedSerializer(serializers.Serializer[None]):
    stored = serializers.IntegerField()
    already_known = serializers.IntegerField()
    firing = serializers.IntegerField(help_text="The firing that the readings belong to.")


class NowhereSerializer(serializers.Serializer[None]):
    """Readings that belong to no firing of the kiln: not stored, and why."""

    first_at = serializers.DateTimeField()
    last_at = serializers.DateTimeField()
    count = serializers.IntegerField()
    reason = serializers.CharField()


class SharedSerializer(ReceivedSerializer):
    """What became of a kiln's batch; `firing` is that of the last reading stored."""

    firings = ReceivedSerializer(many=True, help_text="Each firing that the batch reaches into.")
    refused = NowhereSerializer(many=True)
