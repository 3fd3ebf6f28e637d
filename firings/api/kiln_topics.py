"""Topics on which a kiln's meters publish by MQTT, for managers."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.status import HTTP_201_CREATED, HTTP_204_NO_CONTENT

from firings.actions.kiln_topics import drop_kiln_topic, set_kiln_topic
from firings.api.exact import ExactSerializer
from firings.api.kilns import OfKilnViewSet
from firings.calculations.published_readings import TIME_UNITS, UNITS_OF_FIELD
from firings.models import KilnTopic
from studio.api.access import holds
from studio.api.received import received
from studio.models import Role

UNITS = sorted({unit for units in UNITS_OF_FIELD.values() for unit in units})


class TopicFieldSerializer(ExactSerializer):
    """Where a value stands in a message; an empty path is a message that is only a number."""

    field = serializers.ChoiceField(choices=list(UNITS_OF_FIELD))
    path = serializers.CharField(max_length=120, allow_blank=True, default="")
    unit = serializers.ChoiceField(choices=UNITS)


class KilnTopicSerializer(serializers.ModelSerializer[KilnTopic]):
    values = serializers.SerializerMethodField()

    class Meta:
        model = KilnTopic
        fields = (
            "id",
            "topic",
            "values",
            "time_path",
            "time_unit",
            "last_heard_at",
            "last_fault",
            "last_fault_at",
        )
        read_only_fields = fields

    def get_values(self, topic: KilnTopic) -> list[dict[str, str]]:
        return [dict(zip(("field", "path", "unit"), one, strict=True)) for one in topic.fields]


class SetKilnTopicSerializer(ExactSerializer):
    topic = serializers.CharField(max_length=200)
    values = TopicFieldSerializer(many=True, max_length=9)
    time_path = serializers.CharField(
        max_length=120,
        allow_blank=True,
        default="",
        help_text="Empty: the moment at which a message arrives.",
    )
    time_unit = serializers.ChoiceField(choices=TIME_UNITS, default="iso")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        values = attrs.pop("values")
        return {**attrs, "fields": [(one["field"], one["path"], one["unit"]) for one in values]}


class KilnTopicViewSet(OfKilnViewSet):
    """What is heard of the kiln by MQTT."""

    queryset = KilnTopic.objects.all()
    serializer_class = KilnTopicSerializer
    permission_classes = (holds(Role.MANAGER),)

    @extend_schema(request=SetKilnTopicSerializer, responses={201: KilnTopicSerializer})
    def create(self, request: Request, kiln_pk: int) -> Response:
        """Take readings from a topic; a topic that is there already is changed."""
        sent = received(SetKilnTopicSerializer, request)
        topic = set_kiln_topic(by=request.user, at=timezone.now(), kiln=self.kiln(), **sent)
        return Response(KilnTopicSerializer(topic).data, status=HTTP_201_CREATED)

    @extend_schema(responses={204: None})
    def destroy(self, request: Request, kiln_pk: int, pk: int) -> Response:
        """Hear the topic no more; readings taken so far stay."""
        drop_kiln_topic(by=request.user, at=timezone.now(), kiln_topic=self.get_object())
        return Response(status=HTTP_204_NO_CONTENT)
