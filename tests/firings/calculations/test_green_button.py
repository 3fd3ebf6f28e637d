"""Meter data by the published schema: NAESB REQ.21 ESPI, v4.0.20231213 (Apache-2.0).

The files here are small ones of our own, written to that schema. What every number in them means
(codes of units, flow, quality; costs in hundred-thousandths) is the schema's.
"""

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firings.calculations.green_button import read_green_button
from firings.calculations.log_lines import LogFileError
from firings.calculations.meter_series import energy_in_span
from tests.firings.meter_data import MIDNIGHT, block, feed, meter, quarters, reading


def fault_of(content: bytes) -> str:
    with pytest.raises(LogFileError) as caught:
        read_green_button(content)
    return "\n".join(caught.value.messages)


class TestASeriesIsRead:
    def test_energy_time_cost_and_quality_of_each_interval(self) -> None:
        rows = reading(250, MIDNIGHT, cost=981) + reading(300, MIDNIGHT + 900, cost=19, quality=8)
        [series] = read_green_button(feed(meter(1, block(rows))))
        assert series.name == "Kiln meter"
        assert series.start_at == datetime(2026, 3, 2, 4, tzinfo=UTC)
        assert series.end_at - series.start_at == timedelta(minutes=30)
        assert series.energy_wh == 550
        assert series.cost == Decimal("0.01000")  # 981 is 0.00981 of the currency's unit
        assert series.currency == "USD"
        assert [i.is_measured for i in series.intervals] == [True, False]
        assert series.quality_words() == ("1 of 2 intervals is estimated from history",)

    @pytest.mark.parametrize(
        ("kind", "value", "energy_wh"),
        [
            ({"powerOfTenMultiplier": 3}, 2, "2000"),
            ({"powerOfTenMultiplier": -3}, 1500, "1.5"),
            ({"uom": 38, "kind": 37}, 4000, "1000"),  # 4 kW for a quarter of an hour
            ({"uom": 38, "kind": 37, "powerOfTenMultiplier": 3}, 4, "1000"),
        ],
    )
    def test_units_and_multipliers_come_to_watt_hours(
        self, kind: dict[str, int], value: int, energy_wh: str
    ) -> None:
        [series] = read_green_button(feed(meter(1, block(quarters(value)), **kind)))
        assert series.energy_wh == Decimal(energy_wh)

    def test_blocks_come_in_any_order_and_several_to_an_entry(self) -> None:
        late = block(quarters(3, 4, start=MIDNIGHT + 1800), MIDNIGHT + 1800)
        both = late + block(quarters(1, 2))
        [series] = read_green_button(feed(meter(1, both)))
        assert [int(i.energy_wh) for i in series.intervals] == [1, 2, 3, 4]
        assert series.gaps == ()

    def test_readings_without_a_time_follow_each_other_from_the_blocks_start(self) -> None:
        [series] = read_green_button(feed(meter(1, block(reading(5) + reading(6)))))
        assert [i.start_at.minute for i in series.intervals] == [0, 15]
        assert series.end_at.minute == 30

    def test_gaps_are_told_and_not_filled(self) -> None:
        rows = reading(5, MIDNIGHT) + reading(6, MIDNIGHT + 3600)
        [series] = read_green_button(feed(meter(1, block(rows))))
        [(start, end)] = series.gaps
        assert end - start == timedelta(minutes=45)
        assert series.energy_wh == 11

    def test_a_register_counts_what_it_moved_on(self) -> None:
        rows = quarters(1000, 1250, 1700)
        [series] = read_green_button(feed(meter(1, block(rows), accumulationBehaviour=1)))
        assert [int(i.energy_wh) for i in series.intervals] == [250, 450]

    def test_two_meters_are_kept_apart_and_what_is_no_energy_used_is_passed_over(self) -> None:
        content = feed(
            meter(1, block(quarters(10)), title="Kiln 1"),
            meter(2, block(quarters(20)), title="Kiln 2"),
            meter(3, block(quarters(99)), title="Roof", flowDirection=19),
        )
        first, second = read_green_button(content)
        assert (first.name, first.energy_wh) == ("Kiln 1", 10)
        assert (second.name, second.energy_wh) == ("Kiln 2", 20)
        assert "Roof: it is energy sent back to the grid, not used" in first.warnings[0]

    @pytest.mark.parametrize(("flow", "word"), [(4, "net values"), (20, "totals")])
    def test_net_and_total_values_are_told(self, flow: int, word: str) -> None:
        [series] = read_green_button(feed(meter(1, block(quarters(1)), flowDirection=flow)))
        assert word in series.warnings[0]


class TestAFileIsRefused:
    @pytest.mark.parametrize(
        ("kind", "why"),
        [
            ({"uom": 42}, "it is in cubic metres, not in Wh or W"),
            ({"flowDirection": 19}, "sent back to the grid"),
            ({"dataQualifier": 8}, "a maximum, minimum or average"),
            ({"accumulationBehaviour": 12}, "moments, not energy in an interval"),
        ],
    )
    def test_that_holds_no_energy_used(self, kind: dict[str, int], why: str) -> None:
        assert why in fault_of(feed(meter(1, block(quarters(1)), **kind)))

    def test_of_a_gas_meter(self) -> None:
        assert "a meter of gas" in fault_of(feed(meter(1, block(quarters(1))), service=1))

    def test_whose_intervals_overlap_with_both_lines(self) -> None:
        rows = f"{reading(1, MIDNIGHT)}\n{reading(2, MIDNIGHT + 600)}"
        told = fault_of(feed(meter(1, block(rows))))
        assert "Line 4: The interval from 2026-03-02 04:10 UTC overlaps" in told
        assert "line 3" in told

    @pytest.mark.parametrize(
        ("row", "why"),
        [
            (reading(1, MIDNIGHT, duration=0), "takes 0 seconds: that cannot be"),
            (reading(-5, MIDNIGHT), "The value -5 is below zero"),
            (reading(2**47, MIDNIGHT), "no meter says that"),
            (reading(1, MIDNIGHT).replace("<e:value>1", "<e:value>one"), "got 'one'"),
        ],
    )
    def test_with_an_interval_that_cannot_be(self, row: str, why: str) -> None:
        assert why in fault_of(feed(meter(1, block(row))))

    def test_whose_register_runs_backwards(self) -> None:
        rows = quarters(1000, 900)
        told = fault_of(feed(meter(1, block(rows), accumulationBehaviour=1)))
        assert "The register runs backwards here" in told

    @pytest.mark.parametrize(
        ("content", "why"),
        [
            (b"hour,kWh\n1,2\n", "This is no whole XML"),
            (b"<kilns/>", "it begins with kilns, not feed"),
            (b"<feed/>", "The file holds no meter readings"),
            (feed(meter(1)), "Kiln meter holds no intervals"),
            (feed(meter(1, block(quarters(1)), uom="Wh")), "uom must be a whole number, got 'Wh'"),
        ],
    )
    def test_that_is_something_else(self, content: bytes, why: str) -> None:
        assert why in fault_of(content)

    def test_that_could_do_harm(self) -> None:
        bomb = b'<!DOCTYPE feed [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]><feed>&b;</feed>'
        assert "a document type or entities" in fault_of(bomb)


class TestTheEnergyOfASpan:
    def series(self) -> Any:
        [series] = read_green_button(feed(meter(1, block(quarters(100, 200, 300, 400)))))
        return series

    def test_whole_intervals_add_up(self) -> None:
        series = self.series()
        span = energy_in_span(series.intervals, series.start_at, series.end_at, 0)
        assert (span.energy_wh, span.uncertainty_wh, span.covered_seconds) == (1000, 0, 3600)

    def test_a_cut_interval_counts_in_proportion_and_is_less_sure(self) -> None:
        """JCGM 100, 4.3.7: 300 Wh cut in two thirds could hide 200 Wh: 200 / sqrt(3) = 115.5."""
        series = self.series()
        end_at = series.start_at + timedelta(minutes=40)
        span = energy_in_span(series.intervals, series.start_at, end_at, 0)
        assert span.energy_wh == pytest.approx(500)
        assert span.uncertainty_wh == pytest.approx(115.5, abs=0.1)

    def test_the_class_of_the_meter_counts(self) -> None:
        """2014/32/EU, Annex V, class B: 2 %; 20 Wh of 1000 as rectangular: 20 / sqrt(3) = 11.5."""
        series = self.series()
        span = energy_in_span(series.intervals, series.start_at, series.end_at, 2)
        assert span.uncertainty_wh == pytest.approx(11.55, abs=0.01)

    def test_a_span_that_ends_before_it_begins_is_refused(self) -> None:
        series = self.series()
        with pytest.raises(ValueError, match="must be after start_at"):
            energy_in_span(series.intervals, series.end_at, series.start_at)

    @given(cut=st.integers(1, 59))
    def test_two_spans_hold_what_the_whole_holds(self, cut: int) -> None:
        series = self.series()
        middle = series.start_at + timedelta(minutes=cut)
        first = energy_in_span(series.intervals, series.start_at, middle)
        second = energy_in_span(series.intervals, middle, series.end_at)
        assert first.energy_wh + second.energy_wh == pytest.approx(1000)
