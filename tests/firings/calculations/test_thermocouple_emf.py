"""Reference functions of ITS-90 against the table of NIST Monograph 175."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firings.calculations.thermocouple_emf import emf_mv, temp_from_emf_c

# Source: NIST Monograph 175 (NIST SRD 60), mV at C with the reference junction at 0 C.
TABLE = """
25 1.000 0.143 0.141
100 4.096 0.646 0.647
300 12.209 2.323 2.401
500 20.644 4.233 4.471
573 23.757 4.964 5.279
800 33.275 7.345 7.950
1000 41.276 9.587 10.506
1063 43.710 10.320 11.348
1100 45.119 10.757 11.850
1200 48.838 11.951 13.228
1222 49.637 12.216 13.535
1243 50.393 12.469 13.828
1285 51.885 12.977 14.418
1300 52.410 13.159 14.629
"""
ROWS = [[float(cell) for cell in line.split()] for line in TABLE.strip().splitlines()]
CELLS = [
    (row[0], kind, cell)
    for row in ROWS
    for kind, cell in zip(("K", "S", "R"), row[1:], strict=True)
]


@pytest.mark.parametrize(("temp_c", "kind", "mv"), CELLS)
def test_voltages_equal_the_table(temp_c, kind, mv):
    assert round(float(emf_mv(temp_c, kind)), 3) == mv


# Source: the same functions solved apart from this code: K 40.000 mV = 967.42 C and so on.
@pytest.mark.parametrize(
    ("mv", "kind", "temp_c"),
    [(40.0, "K", 967.42), (48.0, "K", 1177.14), (10.0, "S", 1035.61), (10.0, "R", 961.52)],
)
def test_temperatures_of_voltages(mv, kind, temp_c):
    assert round(float(temp_from_emf_c(mv, kind)), 2) == temp_c


def test_the_cold_junction_is_added():
    # Source: as above: type K at 1000 C with its terminal at 25 C gives 40.275 mV; without
    # compensation that reads as 974.4 C.
    shown_mv = float(emf_mv(1000, "K") - emf_mv(25, "K"))
    assert shown_mv == pytest.approx(40.275, abs=0.0011)  # 41.276 - 1.000, rounded
    assert float(temp_from_emf_c(40.275, "K", 25.0)) == pytest.approx(1000, abs=0.02)
    assert round(float(temp_from_emf_c(40.275, "K")), 1) == 974.4


@given(st.sampled_from("KSR"), st.floats(-40, 1371), st.floats(0, 60))
def test_there_and_back(kind, temp_c, junction_c):
    shown_mv = emf_mv(temp_c, kind) - emf_mv(junction_c, kind)
    assert float(temp_from_emf_c(shown_mv, kind, junction_c)) == pytest.approx(temp_c, abs=1e-3)


def test_a_voltage_that_no_such_wire_gives_is_no_temperature():
    found = temp_from_emf_c(np.array([60.0, -9.0, math.nan, 4.096]), "K")
    assert np.isnan(found[:3]).all()
    assert found[3] == pytest.approx(100, abs=0.02)


def test_other_types_and_temperatures_are_refused():
    with pytest.raises(ValueError, match="'J' is not known"):
        temp_from_emf_c(1.0, "J")
    with pytest.raises(ValueError, match="must lie between -50 and 1372"):
        emf_mv(1400, "K")
