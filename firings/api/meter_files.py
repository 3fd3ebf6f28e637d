"""Files of a utility's meter that measures one kiln."""

from __future__ import annotations

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.status import HTTP_201_CREATED

from firings.actions.meter_files import take_in_meter_file
from firings.api.exact import ExactSerializer
from firings.api.kilns import OfKilnViewSet
from firings.models import MeterFile
from studio.api.access import holds
from studio.api.received import received
from studio.models import Role


class MeterFileSerializer(serializers.ModelSerializer[MeterFile]):
    """Energy in Wh; `cost` is what the utility says, in units of `currency`."""

    remarks = serializers.ListField(child=serializers.CharField(), read_only=True)

    class Meta:
        model = MeterFile
        fields = (
            "id",
            "file_name",
            "meter_name",
            "start_at",
            "end_at",
            "intervals_count",
            "energy_wh",
            "cost",
            "currency",
            "remarks",
            "taken_in_at",
        )
        read_only_fields = fields


class SendMeterFileSerializer(ExactSerializer):
    file = serializers.FileField(help_text="Green Button interval data, XML.")
    meter = serializers.CharField(
        max_length=120,
        required=False,
        allow_blank=True,
        default="",
        help_text="Name of the meter, when the file holds several.",
    )
    measures_this_kiln_alone = serializers.BooleanField()


class MeterFileViewSet(OfKilnViewSet):
    """What a utility's meter measured of this kiln alone."""

    queryset = MeterFile.objects.all()
    serializer_class = MeterFileSerializer
    permission_classes = (holds(Role.CREW, Role.MANAGER, Role.TREASURER),)
    parser_classes = (MultiPartParser,)

    @extend_schema(
        request={"multipart/form-data": SendMeterFileSerializer},
        responses={201: MeterFileSerializer},
    )
    def create(self, request: Request, kiln_pk: int) -> Response:
        """Take in a file, whole or not at all."""
        sent = received(SendMeterFileSerializer, request)
        file = sent.pop("file")
        taken = take_in_meter_file(
            by=request.user,
            at=timezone.now(),
            kiln=self.kiln(),
            content=file.read(),
            file_name=file.name,
            **sent,
        )
        return Response(MeterFileSerializer(taken.file).data, status=HTTP_201_CREATED)
