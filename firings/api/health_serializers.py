"""What the API says of cones, energy and wear: figures with what they rest on, never a verdict
on safety."""

from __future__ import annotations

from rest_framework import serializers

from firings.api.exact import ExactSerializer

PART_NAMES = ("ware", "shelves_and_posts", "free_water", "combined_water", "walls_and_losses")


class MeasuredPackSerializer(serializers.Serializer[None]):
    """What the cones of one place say, in °C at 60 °C per hour. An open end is null."""

    layer = serializers.IntegerField()
    position = serializers.CharField(allow_blank=True)
    low_c = serializers.FloatField(allow_null=True)
    high_c = serializers.FloatField(allow_null=True)
    middle_c = serializers.FloatField(allow_null=True)
    cooler_cone = serializers.CharField(allow_null=True)
    hotter_cone = serializers.CharField(allow_null=True)
    share = serializers.FloatField(allow_null=True, help_text="of the way between them")
    words = serializers.CharField()
    contradicts = serializers.BooleanField(help_text="true: cones may have been mixed up")


class EvennessSerializer(serializers.Serializer[None]):
    """Top minus bottom."""

    bottom_layer = serializers.IntegerField()
    top_layer = serializers.IntegerField()
    difference_c = serializers.FloatField()
    either_way_c = serializers.FloatField()
    difference_cones = serializers.FloatField()


class MeasuredConesSerializer(serializers.Serializer[None]):
    packs = MeasuredPackSerializer(many=True)
    evenness = EvennessSerializer(allow_null=True, help_text="null: not on two layers")
    log_heat_c = serializers.FloatField(
        allow_null=True, help_text="the log's heat work at 60 °C per hour, once closed"
    )
    offset_c = serializers.FloatField(
        allow_null=True, help_text="cones minus log, once closed; below 0 the log reads higher"
    )


class WeighLoadSerializer(ExactSerializer):
    load_kg = serializers.FloatField(
        min_value=0.1, max_value=2000, allow_null=True, help_text="null: have it estimated"
    )


class EnergyPartSerializer(serializers.Serializer[None]):
    name = serializers.ChoiceField(choices=PART_NAMES)
    energy_wh = serializers.IntegerField()
    uncertainty_wh = serializers.IntegerField(help_text="standard uncertainty")
    share = serializers.FloatField()


class EmptyFiringSerializer(serializers.Serializer[None]):
    closed_at = serializers.DateTimeField()
    cone = serializers.CharField()
    energy_wh = serializers.IntegerField()
    uncertainty_wh = serializers.IntegerField()


class EnergyExplainedSerializer(serializers.Serializer[None]):
    """An estimate: walls and losses are what the other parts leave of the firing's energy."""

    energy_wh = serializers.IntegerField()
    fits = serializers.BooleanField(
        help_text="false: the parts are more than the energy, so the estimate does not hold"
    )
    parts = EnergyPartSerializer(many=True)
    ware_kg = serializers.FloatField()
    ware_either_way_kg = serializers.FloatField()
    is_weighed = serializers.BooleanField()
    furniture_kg = serializers.FloatField()
    furniture_either_way_kg = serializers.FloatField()
    water_kg = serializers.FloatField()
    peak_c = serializers.FloatField()
    is_peak_measured = serializers.BooleanField()
    empty = EmptyFiringSerializer(many=True, help_text="what this kiln used with no ware in it")


class EnergyBalanceSerializer(serializers.Serializer[None]):
    explained = EnergyExplainedSerializer(
        allow_null=True, help_text="null: not closed, or its energy is not known"
    )


class FiringToldSerializer(serializers.Serializer[None]):
    """What one closed firing told of its kiln. Not known: null."""

    firing = serializers.IntegerField()
    started_at = serializers.DateTimeField()
    stage = serializers.CharField()
    cone = serializers.CharField()
    is_empty = serializers.BooleanField()
    energy_wh = serializers.IntegerField(allow_null=True)
    rate_c_per_h = serializers.FloatField(allow_null=True, help_text="at full power, 600 to 900 °C")
    power_w = serializers.FloatField(allow_null=True, help_text="at full power")
    resistance_ohm = serializers.FloatField(
        allow_null=True, help_text="of all elements, at the plate's voltage"
    )
    relay_cycles = serializers.IntegerField(allow_null=True, help_text="at least")
    load_kg = serializers.FloatField(allow_null=True)
    offset_c = serializers.FloatField(allow_null=True)
    offset_either_way_c = serializers.FloatField(allow_null=True)
    cones_layer = serializers.IntegerField(allow_null=True)
    top_minus_bottom_c = serializers.FloatField(allow_null=True)


class ControlChartSerializer(serializers.Serializer[None]):
    centre = serializers.FloatField()
    lower = serializers.FloatField()
    upper = serializers.FloatField()
    outside = serializers.ListField(child=serializers.IntegerField())


class OffsetPointSerializer(serializers.Serializer[None]):
    at = serializers.DateTimeField()
    offset_c = serializers.FloatField()
    either_way_c = serializers.FloatField()


class OffsetRunSerializer(serializers.Serializer[None]):
    """Firings between two replacements; `outside` numbers its offsets from 0."""

    begun_by = serializers.ListField(child=serializers.CharField())
    offsets = OffsetPointSerializer(many=True)
    chart = ControlChartSerializer(allow_null=True, help_text="null: too few firings")


class OffsetAdviceSerializer(serializers.Serializer[None]):
    """A number to consider. The maker's manual and a person decide."""

    firings_count = serializers.IntegerField()
    mean_c = serializers.FloatField()
    either_way_c = serializers.FloatField(help_text="about 95 %")
    stands_out = serializers.BooleanField()


class TrendSerializer(serializers.Serializer[None]):
    """A change from the first to the last firing, as a share, with its 95 % limits."""

    firings_count = serializers.IntegerField()
    first_at = serializers.DateTimeField()
    last_at = serializers.DateTimeField()
    change = serializers.FloatField()
    lower = serializers.FloatField()
    upper = serializers.FloatField()
    is_sure = serializers.BooleanField()


class ElementWearSerializer(serializers.Serializer[None]):
    verdict = serializers.ChoiceField(choices=("worn", "ageing", "steady", "no_evidence"))
    basis = serializers.ChoiceField(choices=("resistance", "heating_rate", ""))


class KilnHealthSerializer(serializers.Serializer[None]):
    """What the closed firings of a kiln tell; trends are of the present elements.

    A licensed electrician measures elements and replaces them.
    """

    firings = FiringToldSerializer(many=True)
    elements_since = serializers.DateField(allow_null=True)
    offset_runs = OffsetRunSerializer(many=True)
    offset_advice = OffsetAdviceSerializer(allow_null=True)
    rate = TrendSerializer(allow_null=True)
    energy = TrendSerializer(allow_null=True)
    resistance = TrendSerializer(allow_null=True)
    wear = ElementWearSerializer()
    power_factor = serializers.FloatField(help_text="of the rated power, for energy by duty")
    relay_cycles = serializers.IntegerField(help_text="at least, since the relays were fitted")
    relays_since = serializers.DateField(allow_null=True)
    witness_days = serializers.IntegerField(allow_null=True)
    witness_firings = serializers.IntegerField()
