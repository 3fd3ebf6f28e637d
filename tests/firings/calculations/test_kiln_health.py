"""Signs of wear in logs, and trends over firings, against published rules and hand arithmetic."""

from datetime import UTC, datetime, timedelta

import pytest

from firings.calculations.kiln_health import (
    AGEING,
    BY_RATE,
    BY_RESISTANCE,
    NO_EVIDENCE,
    STEADY,
    WORN,
    WORN_POWER_DROP,
    FiringSign,
    element_wear,
    full_power,
    power_factor,
    power_from_meter,
    relay_cycles,
    resistance_ohm,
    trend_of,
)
from firings.calculations.kiln_simulation import Segment, round_kiln, simulate_firing
from firings.calculations.readings import Reading

START = datetime(2026, 3, 2, 12, tzinfo=UTC)


def log(*rows: tuple[float, float | None, float | None], minutes: int = 5) -> list[Reading]:
    return [
        Reading(START + timedelta(minutes=minutes * n), temp_c, duty=duty, power_w=power_w)
        for n, (temp_c, duty, power_w) in enumerate(rows)
    ]


def signs(values, like=("glaze", "6")) -> list[FiringSign]:
    return [FiringSign(START + timedelta(days=n), like, value) for n, value in enumerate(values)]


def test_ten_per_cent_more_resistance_is_nine_per_cent_less_power():
    # P = V2 / R at the same voltage: 1 / 1.1 = 0.909. The +10 % is a technician's rule
    # (N. Estrick, 24 Mar 2011): common practice
    assert pytest.approx(0.0909, abs=5e-5) == WORN_POWER_DROP
    # 48 A at 240 V is 11.52 kW: a studio's wiring example (Lakeside Pottery); 240 / 48 = 5 ohm
    assert resistance_ohm(11_520, 240) == pytest.approx(5.0)
    assert resistance_ohm(11_520 / 1.1, 240) == pytest.approx(5.5)


def test_the_rate_at_full_duty_counts_in_its_band_only():
    rows = [(500 + 20 * n, 1.0, None) for n in range(30)]  # 20 C in 5 minutes: 240 C/h
    shown = full_power(log(*rows), 6_000)
    assert shown.rate_c_per_h == pytest.approx(240)
    assert shown.band_s == 300 * 15  # from 600 to 900 C
    assert shown.power_w is None


def test_less_than_ten_minutes_at_full_power_say_nothing():
    rows = [(700, 0.5, None), (720, 1.0, None), (740, 1.0, None), (750, 0.6, None)]
    assert full_power(log(*rows), 6_000).rate_c_per_h is None


def test_a_highest_power_below_the_plate_is_no_full_power():
    rows = [(650 + 10 * n, None, 4_000.0) for n in range(12)]
    shown = full_power(log(*rows), 6_000)
    assert (shown.rate_c_per_h, shown.power_w) == (None, None)


def test_a_controller_that_keeps_up_is_not_at_full_power():
    readings = [
        Reading(START + timedelta(minutes=5 * n), 651 + 10 * n, set_point_c=650 + 10 * n,
                power_w=5_900.0)
        for n in range(12)
    ]  # fmt: skip
    assert full_power(readings, 6_000).power_w is None


def test_a_kiln_model_with_weaker_elements_heats_slower_and_shows_its_power():
    """The thermal model of the demo, at 6000 W and at 1 / 1.1 of it: the rate falls by more than
    the power, for the walls take their share first."""
    shown = []
    for power_w in (6_000.0, 6_000 / 1.1):
        kiln = round_kiln(450, 570, rated_power_w=power_w, shelves_kg=13)
        samples = simulate_firing(
            kiln, [Segment(500, 1100)], load_kg=30, room_c=20, step_s=120, until_c=900
        )
        readings = [
            Reading(START + timedelta(minutes=s.minute), s.temp_c, set_point_c=s.set_point_c,
                    power_w=s.power_w)
            for s in samples
        ]  # fmt: skip
        shown.append(full_power(readings, 6_000))
    new, aged = shown
    assert aged.power_w / new.power_w == pytest.approx(1 / 1.1, abs=0.01)
    assert aged.rate_c_per_h / new.rate_c_per_h < 1 / 1.1


def test_a_meter_tells_the_power_at_full_duty():
    # 2 h at duty 1 and 2 h at duty 0.5 are 3 h: 18 kWh / 3 h = 6 kW
    rows = [*[(100, 1.0, None)] * 24, (100, 0.75, None), *[(100, 0.5, None)] * 24]
    assert power_from_meter(log(*rows), 18_000) == pytest.approx(6_000, rel=0.002)
    assert power_from_meter(log((100, None, None), (120, 1.0, None)), 18_000) is None


def test_relays_are_counted_each_time_the_power_comes():
    rows = [(100, duty, None) for duty in (0.0, 0.4, 0.4, 0.0, 1.0, 0.0)]
    assert relay_cycles(log(*rows), 6_000) == 2
    rows = [(100, None, power_w) for power_w in (5_000.0, 20.0, 5_000.0)]
    assert relay_cycles(log(*rows), 6_000) == 2
    assert relay_cycles(log((100, None, None)), 6_000) is None


def test_the_power_factor_is_the_middle_of_the_last_three():
    assert power_factor([6_000, 5_400, 5_500, 5_450], 6_000) == pytest.approx(
        5_450 / 6_000, abs=1e-4
    )
    assert power_factor([5_400, 5_400], 6_000) == 1.0  # too few
    assert power_factor([1_000] * 3, 6_000) == 1.0  # no wear: a wrong plate or sensor


def test_a_trend_needs_eight_firings_of_like_loads():
    assert trend_of(signs([250] * 7)) is None
    mixed = [*signs([250] * 6), *signs([120] * 2, ("bisque", "04"))]
    assert trend_of(mixed) is None  # two of a kind are no kind
    assert trend_of([]) is None


def test_unlike_loads_are_compared_with_their_like_only():
    one, other = signs([250 - n for n in range(8)]), signs([120 - n / 2 for n in range(8)])
    bisques = [FiringSign(s.at, ("bisque", "04"), s.value) for s in other]
    both = sorted([*one, *bisques], key=lambda sign: sign.at)
    trend = trend_of(both)
    assert trend.firings_count == 16
    # 7 of 250 and 3.5 of 120: both lose near 2.8 to 2.9 % over the time
    assert trend.change == pytest.approx(-0.0285, abs=0.003)


def test_elements_look_worn_when_resistance_rose_by_ten_per_cent():
    rising = trend_of(signs([5.0 * (1 + 0.11 * n / 11) for n in range(12)]))
    assert rising.change == pytest.approx(0.11, abs=0.002)
    wear = element_wear(rising, None)
    assert (wear.verdict, wear.basis) == (WORN, BY_RESISTANCE)
    slowly = trend_of(signs([5.0 * (1 + 0.05 * n / 11) for n in range(12)]))
    assert element_wear(slowly, None).verdict == AGEING


def test_the_rate_stands_in_where_no_power_is_measured():
    falling = trend_of(signs([250 * (1 - 0.12 * n / 11) for n in range(12)]))
    assert element_wear(None, falling).verdict == WORN
    assert element_wear(None, falling).basis == BY_RATE


def test_scatter_and_thin_evidence_call_nothing_worn():
    scattered = trend_of(signs([5.0, 5.6, 4.9, 5.5, 5.1, 5.6, 4.8, 5.7, 5.0]))
    assert not scattered.is_sure
    assert element_wear(scattered, None).verdict == STEADY
    assert element_wear(None, None).verdict == NO_EVIDENCE


@pytest.mark.parametrize("bad", [(0, 240), (6_000, 0)])
def test_no_power_or_no_voltage_has_no_resistance(bad):
    with pytest.raises(ValueError, match="above 0"):
        resistance_ohm(*bad)


def test_a_kiln_without_a_rated_power_is_refused():
    with pytest.raises(ValueError, match="rated_power_w"):
        full_power([], 0)
    with pytest.raises(ValueError, match="rated_power_w"):
        power_factor([6_000] * 3, 0)
