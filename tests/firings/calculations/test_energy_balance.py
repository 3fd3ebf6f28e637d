"""Where a firing's energy went, against hand arithmetic with published constants."""

import math
from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firings.calculations.energy_balance import (
    COMBINED_WATER,
    FREE_WATER,
    KAOLINITE_WATER_SHARE,
    REST,
    WARE,
    FiringHeat,
    energy_balance,
    heat_taken_up_j_per_kg,
)
from firings.calculations.footprints import Disc, Rectangle
from firings.calculations.load_weight import (
    StandingPiece,
    StandingShelf,
    Weight,
    furniture_weight,
    ware_weight,
    weighed,
)

BISQUE = FiringHeat(42_000, 500, 1063, "bisque", Weight(20, 2), Weight(15, 2))


def parts_of(firing: FiringHeat) -> dict[str, int]:
    return {part.name: part.energy_wh for part in energy_balance(firing).parts}


def test_kaolinite_loses_its_two_waters():
    # 2 x 18.015 / 258.16 = 13.96 % of its mass
    assert pytest.approx(0.1396, abs=5e-5) == KAOLINITE_WATER_SHARE


def test_free_water_is_warmed_and_boiled_off():
    # 20 kg at 2 % moisture: 0.4 kg; 4.19 kJ/(kg K) x 80 K + 2257 kJ/kg (Lienhard & Lienhard at
    # 100 C) = 2592.2 kJ/kg; 1 kWh is 3.6 MJ (NIST SP 811, B.8)
    assert parts_of(BISQUE)[FREE_WATER] == round(0.4 * 2_592_200 / 3600)


def test_heat_taken_up_is_mass_times_heat_capacity_times_rise():
    # without the rise of c: fireclay brick 753 J/(kg K) (matmake.com) x 1043 K = 785.4 kJ/kg; with
    # 1.2 times as much at 1000 C, evenly, c at the mean of 541.5 C is 1.1083 times that
    assert heat_taken_up_j_per_kg(753, 20, 1063) == pytest.approx(785_379 * 1.1083, rel=1e-5)
    assert parts_of(BISQUE)[WARE] == pytest.approx(20 * 785_379 * 1.1083 / 3600, abs=1)


def test_fired_clay_has_no_combined_water():
    glaze = parts_of(replace(BISQUE, stage="glaze"))
    assert glaze[COMBINED_WATER] == 0
    assert parts_of(BISQUE)[COMBINED_WATER] > 0
    # bone-dry bisque ware: half the moisture of greenware
    assert glaze[FREE_WATER] == pytest.approx(parts_of(BISQUE)[FREE_WATER] / 2, abs=1)


@given(
    st.integers(1_000, 200_000),
    st.floats(0, 80),
    st.floats(0, 60),
    st.floats(500, 1320),
    st.sampled_from(["bisque", "glaze"]),
)
def test_parts_sum_to_the_energy_or_the_estimate_does_not_fit(wh, ware_kg, kg, peak_c, stage):
    weights = Weight(ware_kg, ware_kg / 3), Weight(kg, kg / 5)
    balance = energy_balance(FiringHeat(wh, 100, peak_c, stage, *weights))
    total = sum(part.energy_wh for part in balance.parts)
    assert all(part.energy_wh >= 0 for part in balance.parts)
    if balance.fits:
        assert total == wh
        assert balance.parts[-1].name == REST
    else:
        assert total == balance.known_wh > wh
        assert REST not in {part.name for part in balance.parts}


def test_the_rest_is_no_surer_than_what_was_taken_from_it():
    balance = energy_balance(BISQUE)
    *known, rest = balance.parts
    # root sum of squares, JCGM 100, 5.1.2
    of_parts = math.hypot(500, *(part.uncertainty_wh for part in known))
    assert rest.uncertainty_wh == pytest.approx(of_parts, abs=1)


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"energy_wh": 0}, "energy_wh"),
        ({"stage": "raku"}, "stage"),
        ({"peak_c": 15.0}, "peak_c"),
        ({"peak_c": math.nan}, "peak_c"),
        ({"ware": Weight(-1, 0)}, "ware"),
    ],
)
def test_what_cannot_be_is_refused(changed, told):
    with pytest.raises(ValueError, match=told):
        energy_balance(replace(BISQUE, **changed))


def test_a_pot_is_a_floor_and_a_wall():
    # pi 45^2 x 5 floor and pi 90 x 5 x 95 wall, mm3, at 1.8 g/cm3 (from memory)
    mm3 = math.pi * 45**2 * 5 + math.pi * 90 * 5 * 95
    mug = ware_weight([StandingPiece(Disc(90), 100)])
    assert mug.kg == pytest.approx(mm3 * 1.8e-6, rel=1e-3)


def test_a_flat_tile_weighs_no_more_than_its_block():
    tile = ware_weight([StandingPiece(Rectangle(100, 100), 4)])
    assert tile.kg == pytest.approx(100 * 100 * 4 * 1.8e-6, rel=1e-6)


def test_half_a_shelf_weighs_half_of_a_shelf():
    half, full = (
        ware_weight([StandingPiece(None, 120, fraction, 120_000)]).kg
        for fraction in (Fraction(1, 2), Fraction(1))
    )
    assert half == pytest.approx(full / 2)


def test_a_shelf_weighs_its_area_times_thickness_times_density():
    # 394 mm across, 16 mm thick: 121,922 mm2 x 16 mm x 1.8 to 2.4 g/cm3 (a refractory maker's
    # table of cordierite) lies from 3.51 to 4.68 kg
    shelf = furniture_weight([StandingShelf(121_922, 16, (), 3, 38)])
    assert shelf.kg - shelf.either_way_kg == pytest.approx(121_922 * 16 * 1.8e-6)
    assert shelf.kg + shelf.either_way_kg == pytest.approx(121_922 * 16 * 2.4e-6)
    with_posts = furniture_weight([StandingShelf(121_922, 16, (102, 25), 3, 38)])
    assert with_posts.kg > shelf.kg


def test_what_scales_say_is_better_known():
    assert weighed(20).either_way_kg < 1
    with pytest.raises(ValueError, match="load_kg"):
        weighed(0)
