"""Which stages a chart shades, between which temperatures and until when."""

from datetime import timedelta

import pytest

from firings.calculations.firing_chart import stage_bands
from tests.scene import NOON

PEAK_AT = NOON + timedelta(hours=9)


def told(bands):
    return [(band.name, band.low_c, band.high_c) for band in bands]


def test_a_firing_shades_drying_burn_off_quartz_and_top():
    # Quartz inverts at 573 C (Bartolovic & Zakin, Electric Kiln Ceramics, 4th ed.), shaded 20 C
    # either way; a cone answers to its last 100 C (Orton). The rest: common practice, no source.
    assert told(stage_bands(NOON, 1222.0, None)) == [
        ("drying", 0.0, 120.0),
        ("burn_off", 260.0, 650.0),
        ("quartz", 553.0, 593.0),
        ("top", 1122.0, 1222.0),
    ]


def test_what_belongs_to_the_way_up_ends_at_the_peak():
    ends = {band.name: band.until_at for band in stage_bands(NOON, 1222.0, PEAK_AT)}
    assert ends == {"drying": PEAK_AT, "burn_off": PEAK_AT, "quartz": None, "top": None}


def test_a_firing_that_ends_early_has_only_the_stages_it_reaches():
    assert [band.name for band in stage_bands(NOON, 240.0, None)] == ["drying", "top"]


def test_a_peak_before_the_start_is_refused():
    with pytest.raises(ValueError, match="peak_at"):
        stage_bands(NOON, 1222.0, NOON - timedelta(minutes=1))
