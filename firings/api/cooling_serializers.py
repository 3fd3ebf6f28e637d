"""What the API says of cooling: a forecast with its band, and what a kiln's firings taught."""

from __future__ import annotations

from rest_framework import serializers

from firings.calculations.cooling import Phase


class BandPointSerializer(serializers.Serializer[None]):
    """The forecast band at one moment: 8 of 10 ways lie between low and high."""

    at = serializers.DateTimeField()
    low_c = serializers.FloatField()
    likely_c = serializers.FloatField()
    high_c = serializers.FloatField()


class CoolingForecastSerializer(serializers.Serializer[None]):
    """When the hottest zone may read the limit. It opens no kiln: measure, and decide."""

    phase = serializers.ChoiceField(choices=[phase.value for phase in Phase])
    earliest_at = serializers.DateTimeField(help_text="8 of 10 cases lie from here")
    likely_at = serializers.DateTimeField()
    latest_at = serializers.DateTimeField(help_text="to here")
    off_at = serializers.DateTimeField(help_text="when the power went off, or may go")
    limit_c = serializers.FloatField()
    last_c = serializers.FloatField(help_text="the last reading, hottest zone")
    silent_s = serializers.FloatField(help_text="how old that reading is")
    is_assumed = serializers.BooleanField(help_text="true: nobody measured last_c")
    room_c = serializers.FloatField()
    is_room_measured = serializers.BooleanField()
    firings_count = serializers.IntegerField(help_text="closed firings of this kiln it rests on")
    band = BandPointSerializer(many=True)


class FiringForecastSerializer(serializers.Serializer[None]):
    forecast = CoolingForecastSerializer(
        allow_null=True, help_text="null: the kiln is not hot, or nothing can be said"
    )


class KilnCoolingSerializer(serializers.Serializer[None]):
    """What the closed firings of a kiln taught about how it cools."""

    firings_count = serializers.IntegerField()
    wall_s = serializers.FloatField(help_text="time constant of the wall alone")
    load_percent = serializers.IntegerField(
        help_text="heat of the usual ware and shelves, in per cent of the wall's"
    )
    usual_peak_c = serializers.FloatField(allow_null=True)
    usual_s = serializers.FloatField(
        allow_null=True, help_text="from there down to the opening limit"
    )
