"""Energy of a firing: each source, its uncertainty, the order of trust, and its spread in time."""

import json
import re
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firings.calculations.energy import (
    EnergyEstimate,
    energy_from_duty,
    energy_from_heating_time,
    energy_from_history,
    energy_from_intervals,
    energy_from_power_samples,
    energy_from_registers,
)
from firings.calculations.energy_profile import energy_profile
from firings.calculations.energy_reconciled import FiringMeters, best_energy
from firings.calculations.meter_series import MeteredInterval
from firings.calculations.readings import Reading

START = datetime(2026, 2, 3, 7, tzinfo=UTC)


def log_of(hours: float, every_minutes: int = 5, **fields: float) -> list[Reading]:
    """Return a log that rises 100 C an hour, each reading with the same further fields."""
    count = round(hours * 60 / every_minutes)
    return [
        Reading(START + timedelta(minutes=every_minutes * i), 20.0 + i, **fields)
        for i in range(count + 1)
    ]


def with_registers(hours: float, start_wh: float, end_wh: float) -> list[Reading]:
    count = round(hours * 12)
    return [
        Reading(
            START + timedelta(minutes=5 * i),
            20.0 + i,
            register_wh=start_wh + (end_wh - start_wh) * i / count,
        )
        for i in range(count + 1)
    ]


def meters(start_wh=None, end_wh=None, hours: float = 2, **more) -> FiringMeters:
    return FiringMeters(START, START + timedelta(hours=hours), start_wh, end_wh, **more)


def estimate_of(energy_wh: int) -> EnergyEstimate:
    return EnergyEstimate(energy_wh, 0, "meter_register", {})


class TestRegisters:
    def test_uncertainty_of_42_kwh_on_a_class_2_meter(self):
        # Source: JCGM 100: u = sqrt((0.84 / sqrt 3)2 + 2 (0.05 / sqrt 3)2) = 0.487 kWh for 42 kWh
        # on a class B meter (2 %, 2014/32/EU Annex V) read to 0.1 kWh at both ends; U = 2 u.
        estimate = energy_from_registers(100_000, 142_000)
        assert (estimate.energy_wh, estimate.uncertainty_wh) == (42_000, 487)
        assert estimate.working["expanded_uncertainty_wh"] == 973
        assert estimate.source == "meter_register"

    def test_a_meter_that_runs_backwards_is_refused(self):
        with pytest.raises(ValueError, match=r"runs backwards: end_wh 99,900 is below .* 100,000"):
            energy_from_registers(100_000, 99_900)

    @pytest.mark.parametrize("bad", [(-1, 5), (0, float("nan")), (0, float("inf"))])
    def test_impossible_registers_are_refused(self, bad):
        with pytest.raises(ValueError, match="must be 0 or more"):
            energy_from_registers(*bad)

    def test_a_meter_that_stood_still_still_has_the_uncertainty_of_its_digits(self):
        # Source: JCGM 100: sqrt(2) x 50 / sqrt(3) = 40.8 Wh.
        assert energy_from_registers(5000, 5000).uncertainty_wh == 41


class TestTheUtilitysIntervals:
    def quarters(self, count: int, energy_wh: int = 500) -> list[MeteredInterval]:
        edges = [START + i * timedelta(minutes=15) for i in range(count + 1)]
        return [
            MeteredInterval(start_at, end_at, Decimal(energy_wh), None, 0, 0)
            for start_at, end_at in pairwise(edges)
        ]

    def test_they_add_up_and_carry_the_class_of_the_meter(self):
        # Source: JCGM 100, 4.3.7: 2 % of 4 kWh (2014/32/EU Annex V, class B) / sqrt 3 = 46.2 Wh.
        estimate = energy_from_intervals(self.quarters(8), START, START + timedelta(hours=2))
        assert (estimate.energy_wh, estimate.uncertainty_wh) == (4000, 46)
        assert estimate.source == "interval_meter"

    def test_they_come_after_registers_and_before_power(self):
        log = log_of(2, power_w=2100.0)
        metered = meters(intervals=self.quarters(8))
        assert best_energy(log, 8000, metered).source == "interval_meter"
        both = meters(0, 4100, intervals=self.quarters(8))
        assert best_energy(log, 8000, both).source == "meter_register"

    @pytest.mark.parametrize(
        ("kept", "why"),
        [(slice(0, 7), "do not cover the whole firing"), (slice(0, 8, 2), "cover|gap")],
    )
    def test_they_must_cover_the_firing_without_a_gap(self, kept, why):
        metered = meters(intervals=self.quarters(8)[kept])
        estimate = best_energy(log_of(2, power_w=2100.0), 8000, metered)
        assert estimate.source == "power_samples"
        assert re.search(why, " ".join(estimate.working["passed_over"]))

    def test_a_gap_in_the_middle_is_not_bridged(self):
        intervals = self.quarters(8)
        estimate = best_energy(
            log_of(2, power_w=2100.0), 8000, meters(intervals=[*intervals[:3], *intervals[4:]])
        )
        assert "there is a gap in them" in " ".join(estimate.working["passed_over"])


class TestSourcesThatDisagree:
    def test_two_measurements_beyond_their_uncertainty_are_told(self):
        # Source: JCGM 100, 6.2: expanded uncertainties, k = 2. Registers: 2 % of 4000 Wh and two
        # readings to 100 Wh give u = 62 Wh; power: 5 % of 6000 Wh gives u = 173 Wh.
        # 2 sqrt(62^2 + 173^2) = 368 Wh, and they differ by 2000.
        estimate = best_energy(log_of(2, power_w=3000.0), 8000, meters(1000, 5000))
        assert estimate.working["disagreements"] == [
            ["meter_register", 4000, "power_samples", 6000, 368]
        ]

    def test_two_that_agree_are_both_shown_and_nothing_is_told(self):
        estimate = best_energy(log_of(2, power_w=2050.0), 8000, meters(1000, 5000))
        assert estimate.working["disagreements"] == []
        assert [source for source, *_ in estimate.working["others"]] == ["power_samples"]


class TestPowerSamples:
    def test_one_kilowatt_for_an_hour_is_3_6_megajoules(self):
        # Source: NIST SP 811, B.8: 1 kWh = 3.6 E+06 J.
        estimate = energy_from_power_samples(log_of(1, power_w=1000.0))
        assert estimate.energy_wh * 3600 == 3.6e6

    def test_a_ramp_in_power_is_a_triangle(self):
        # Source: area of a triangle: 6 kW x 2 h / 2 = 6 kWh.
        readings = [
            Reading(START + timedelta(minutes=m), 20.0 + m, power_w=50.0 * m)
            for m in range(0, 121, 10)
        ]
        assert energy_from_power_samples(readings).energy_wh == 6000

    def test_a_steady_supply_has_only_the_sensor_to_doubt(self):
        # Source: JCGM 100: 5 % of 10 kWh as a bound is 500 / sqrt(3) = 289 Wh.
        assert energy_from_power_samples(log_of(2, power_w=5000.0)).uncertainty_wh == 289

    def test_gaps_are_named_and_doubted(self):
        # Source: JCGM 100: an hour between 0 and 5 kW: 2.5 kWh / sqrt(3) = 1443 Wh.
        readings = log_of(1, power_w=5000.0)
        readings += [Reading(r.at + timedelta(hours=2), r.temp_c, power_w=5000.0) for r in readings]
        estimate = energy_from_power_samples(readings)
        assert estimate.energy_wh == 15_000
        assert estimate.working["gaps_over_30_min"] == [
            "2026-02-03T08:00:00+00:00 to 2026-02-03T09:00:00+00:00"
        ]
        assert estimate.working["uncertainty_parts_wh"]["gaps"] == 1443.4

    @pytest.mark.parametrize("count", [0, 1])
    def test_fewer_than_two_samples_are_refused(self, count):
        with pytest.raises(ValueError, match=f"at least 2 power samples, not {count}"):
            energy_from_power_samples(log_of(1, power_w=1.0)[:count])


class TestDuty:
    # Source: a potter's bill, 198 L kiln of 11.52 kW (P. Bridges, reposted July 2011): bisque
    # 7 h at 50 % duty 40.3 kWh, glaze 8.5 h at 65 % duty 63.6 kWh; at 0.21 per kWh 8.47 and 13.37.
    @pytest.mark.parametrize(
        ("hours", "duty", "energy_kwh", "cost"), [(7, 0.5, 40.3, 8.47), (8.5, 0.65, 63.6, 13.37)]
    )
    def test_the_potters_bill(self, hours, duty, energy_kwh, cost):
        estimate = energy_from_duty(log_of(hours, duty=duty), rated_power_w=11_520)
        assert round(estimate.energy_wh / 1000, 1) == energy_kwh
        assert round(estimate.energy_wh / 1000 * 0.21, 2) == cost
        assert estimate.working["mean_duty"] == duty

    def test_elements_switching_in_turn_are_doubted_more_than_steady_ones(self):
        # Source: on-off samples of mean 0.5 vary, a steady 0.5 does not.
        steady = energy_from_duty(log_of(6, duty=0.5), 6000)
        switching = [
            Reading(r.at, r.temp_c, duty=float(i % 2)) for i, r in enumerate(log_of(6, duty=0.5))
        ]
        assert energy_from_duty(switching, 6000).uncertainty_wh > steady.uncertainty_wh

    def test_a_kiln_without_power_is_refused(self):
        with pytest.raises(ValueError, match="rated_power_w must be above 0, not 0"):
            energy_from_duty(log_of(1, duty=0.5), 0)


class TestOrderOfTrust:
    def test_registers_read_by_a_person_come_first(self):
        readings = log_of(2, power_w=5000.0, duty=0.5)
        estimate = best_energy(readings, 8000, meters(1000, 13_000))
        assert (estimate.source, estimate.energy_wh) == ("meter_register", 12_000)

    def test_registers_in_the_log_come_next(self):
        estimate = best_energy(with_registers(2, 500, 10_500), 8000, meters())
        assert (estimate.source, estimate.energy_wh) == ("meter_register", 10_000)

    def test_then_power_then_duty(self):
        assert (
            best_energy(log_of(2, power_w=5000.0, duty=0.5), 8000, meters()).source
            == "power_samples"
        )
        assert best_energy(log_of(2, duty=0.5), 8000, meters()).source == "duty"

    def test_then_the_kilns_history_then_a_guess(self):
        readings = log_of(2)
        estimate = best_energy(readings, 8000, meters(), history_wh=[30_000, 31_000, 35_000])
        assert (estimate.source, estimate.energy_wh) == ("history", 31_000)
        guess = best_energy(readings, 8000, meters())
        assert guess.source == "estimate"
        # Source: Lakeside Pottery's duties, 50 and 65 %: both lie within one standard uncertainty.
        for duty in (0.5, 0.65):
            assert abs(guess.energy_wh - 8000 * 2 * duty) < guess.uncertainty_wh

    def test_a_register_that_runs_backwards_in_the_log_is_passed_over_with_the_reason(self):
        readings = [
            Reading(r.at, r.temp_c, power_w=5000.0, register_wh=1e6 - i)
            for i, r in enumerate(log_of(2))
        ]
        estimate = best_energy(readings, 8000, meters())
        assert estimate.source == "power_samples"
        assert "the register runs backwards" in " ".join(estimate.working["passed_over"])

    def test_registers_by_hand_that_run_backwards_are_refused(self):
        with pytest.raises(ValueError, match="runs backwards"):
            best_energy(log_of(2, power_w=5000.0), 8000, meters(13_000, 1000))

    def test_samples_that_end_before_the_peak_are_passed_over(self):
        readings = log_of(4, duty=0.5)
        readings = [
            Reading(r.at, r.temp_c, power_w=5000.0 if i < 20 else None, duty=r.duty)
            for i, r in enumerate(readings)
        ]
        estimate = best_energy(readings, 8000, meters())
        assert estimate.source == "duty"
        assert (
            "power samples in the log: they end before the peak"
            in (estimate.working["passed_over"])
        )

    def test_nothing_at_all_is_refused_with_what_to_do(self):
        with pytest.raises(ValueError, match="Type the meter's registers at start and end"):
            best_energy([], 8000, meters())

    def test_the_working_can_be_stored_as_json(self):
        for estimate in (
            best_energy(log_of(2, power_w=5000.0), 8000, meters()),
            best_energy(with_registers(2, 0, 9000), 8000, meters()),
            best_energy(log_of(2), 8000, meters()),
        ):
            assert json.loads(json.dumps(estimate.working)) == estimate.working

    def test_history_and_guess_refuse_what_they_cannot_use(self):
        with pytest.raises(ValueError, match="at least 2, not 1"):
            energy_from_history([30_000])
        with pytest.raises(ValueError, match="no heating"):
            energy_from_heating_time(log_of(1)[:1], 8000)


@st.composite
def logs(draw) -> list[Reading]:
    field = draw(st.sampled_from(["power_w", "duty", "register_wh", None]))
    highest = {"power_w": 12_000, "duty": 1, "register_wh": 1e6, None: 1}[field]
    readings, minute = [], draw(st.integers(-60, 60))
    for _ in range(draw(st.integers(0, 30))):
        minute += draw(st.integers(1, 90))
        value = draw(st.floats(0, highest))
        fields = {field: value} if field else {}
        readings.append(Reading(START + timedelta(minutes=minute), 100.0, **fields))
    return readings


class TestProfile:
    @given(logs(), st.integers(0, 200_000), st.integers(1, 60 * 60))
    def test_intervals_sum_to_the_energy_and_follow_each_other(self, readings, energy_wh, minutes):
        # Source: definition of a split; nothing gained, nothing lost, nothing twice.
        ended_at = START + timedelta(minutes=minutes)
        intervals = energy_profile(readings, estimate_of(energy_wh), 6000, START, ended_at)
        assert sum(interval.energy_wh for interval in intervals) == energy_wh
        assert len(intervals) <= 96
        assert all(interval.energy_wh > 0 for interval in intervals)
        edges = [edge for interval in intervals for edge in (interval.start_at, interval.end_at)]
        assert edges == sorted(edges)
        assert all(START <= edge <= ended_at for edge in edges)

    def test_steady_power_gives_even_quarter_hours(self):
        # Source: arithmetic: 8 kWh over 2 h is 1 kWh a quarter hour.
        intervals = energy_profile(
            log_of(2, power_w=4000.0), estimate_of(8000), 6000, START, START + timedelta(hours=2)
        )
        assert [interval.energy_wh for interval in intervals] == [1000] * 8
        assert {interval.start_at.minute for interval in intervals} == {0, 15, 30, 45}

    def test_the_shape_is_the_logs_and_the_height_the_estimates(self):
        # Source: arithmetic: power in the second hour is three times that of the first,
        # but for the minute of the change.
        readings = [
            Reading(START + timedelta(minutes=m), 100.0, power_w=1000.0 if m < 60 else 3000.0)
            for m in range(0, 121)
        ]
        ended_at = START + timedelta(hours=2)
        intervals = energy_profile(readings, estimate_of(40_000), 6000, START, ended_at)
        first_wh = sum(i.energy_wh for i in intervals if i.end_at <= START + timedelta(hours=1))
        assert first_wh == pytest.approx(10_000, rel=0.02)

    def test_registers_shape_before_power(self):
        readings = [
            Reading(START + timedelta(hours=h), 100.0, power_w=1000.0, register_wh=wh)
            for h, wh in ((0, 0), (1, 9000), (2, 9000))
        ]
        ended_at = START + timedelta(hours=2)
        intervals = energy_profile(readings, estimate_of(9000), 6000, START, ended_at)
        assert max(interval.end_at for interval in intervals) == START + timedelta(hours=1)

    def test_without_samples_the_energy_is_spread_evenly(self):
        ended_at = START + timedelta(hours=1)
        intervals = energy_profile([], estimate_of(4000), 6000, START, ended_at)
        assert [interval.energy_wh for interval in intervals] == [1000] * 4

    def test_a_start_between_quarter_hours_keeps_the_clock(self):
        begun_at = START + timedelta(minutes=7)
        intervals = energy_profile(
            [], estimate_of(3800), 6000, begun_at, START + timedelta(minutes=45)
        )
        starts = [interval.start_at.minute for interval in intervals]
        assert starts == [7, 15, 30]

    def test_a_long_firing_takes_half_hours(self):
        # Source: arithmetic: 36 h are 144 quarter hours, more than 96; 72 half hours are not.
        ended_at = START + timedelta(hours=36)
        assert len(energy_profile([], estimate_of(50_000), 6000, START, ended_at)) == 72

    def test_bad_times_are_refused(self):
        with pytest.raises(ValueError, match="must be after"):
            energy_profile([], estimate_of(1), 6000, START, START)
        naive_at = START.replace(tzinfo=None)
        with pytest.raises(ValueError, match="time zone"):
            energy_profile([], estimate_of(1), 6000, naive_at, START)
