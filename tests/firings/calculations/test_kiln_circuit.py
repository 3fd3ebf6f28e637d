"""Currents of a kiln against the rule of the US National Electrical Code."""

from __future__ import annotations

import pytest

from firings.calculations.kiln_circuit import circuit_load


# NEC 210.20(A) asks 125 % of a continuous load; its worked examples: a 48 A kiln needs a 60 A
# breaker, a 40 A kiln one of 50 A (suppliers' wiring tables).
@pytest.mark.parametrize(("rated_a", "needed_a"), [(48, 60), (40, 50)])
def test_the_continuous_load_is_the_breaker_of_the_worked_examples(rated_a, needed_a):
    load = circuit_load(rated_a * 240, 240, needed_a)
    assert (load.rated_a, load.continuous_a) == (rated_a, needed_a)
    assert load.is_breaker_at_least_continuous
    smaller = circuit_load(rated_a * 240, 240, needed_a - 1)
    assert not smaller.is_breaker_at_least_continuous


@pytest.mark.parametrize(
    ("wrong", "name"),
    [
        ((0, 240, 40), "rated_power_w"),
        ((6000, 0, 40), "supply_v"),
        ((6000, 240, -1), "breaker_a"),
    ],
)
def test_what_is_no_circuit_is_refused_by_name(wrong, name):
    with pytest.raises(ValueError, match=name):
        circuit_load(*wrong)
