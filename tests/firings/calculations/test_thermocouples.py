"""Thermocouple tolerances against ASTM E230/E230M-12 and IEC 60584-1:2013."""

import pytest

from firings.calculations.thermocouples import thermocouple_tolerance_c


# Source: ASTM E230/E230M-12, greater of the two: K standard 2.2 C or 0.75 %, special 1.1 C or
# 0.4 %; R and S standard 1.5 C or 0.25 %, special 0.6 C or 0.1 %. The tolerances at 1222 C are
# that arithmetic, rounded: 9.2, 4.9 and 3.1 C.
@pytest.mark.parametrize(
    ("temp_c", "grade", "tolerance_c"),
    [
        (1222, "K standard", 9.2),
        (1222, "K special", 4.9),
        (1222, "S standard", 3.1),
        (1222, "R standard", 3.1),
        (1222, "S special", 1.2),
        (100, "K standard", 2.2),
        (100, "K special", 1.1),
        (100, "R standard", 1.5),
        (0, "R special", 0.6),
    ],
)
def test_tolerance_is_the_greater_of_degrees_and_percent(temp_c, grade, tolerance_c):
    assert round(thermocouple_tolerance_c(temp_c, grade), 1) == tolerance_c


# Source: IEC 60584-1:2013: K class 1 1.5 C to 375 C, then 0.004 t; class 2 2.5 C to 333 C, then
# 0.0075 t; S and R class 1 1 C to 1100 C, then 1 + 0.003 (t - 1100); class 2 1.5 C to 600 C, then
# 0.0025 t. At 1222 C class 1 of type S is 1.4 C.
@pytest.mark.parametrize(
    ("temp_c", "grade", "tolerance_c"),
    [
        (375, "K class 1", 1.5),
        (1000, "K class 1", 4.0),
        (300, "K class 2", 2.5),
        (1200, "K class 2", 9.0),
        (1100, "S class 1", 1.0),
        (1222, "S class 1", 1.4),
        (600, "R class 2", 1.5),
        (1200, "R class 2", 3.0),
    ],
)
def test_tolerance_of_the_classes_of_iec(temp_c, grade, tolerance_c):
    assert round(thermocouple_tolerance_c(temp_c, grade), 1) == tolerance_c


def test_type_k_cannot_tell_cone_6_from_cone_7():
    # Source: the same, with 17 C between cones 6 and 7 at 60 C/h in the Orton chart.
    assert 2 * thermocouple_tolerance_c(1222) > 1239 - 1222


def test_unknown_grades_and_frost_are_refused():
    with pytest.raises(ValueError, match="'N' is not known"):
        thermocouple_tolerance_c(1000, "N")
    with pytest.raises(ValueError, match="temp_c must be 0 or more"):
        thermocouple_tolerance_c(-1)
