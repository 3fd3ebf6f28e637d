"""What a kiln draws, beside what its circuit is protected for. Arithmetic, never a verdict."""

from __future__ import annotations

from dataclasses import dataclass

# US National Electrical Code 210.20(A): an overcurrent device is rated for at least 125 % of the
# continuous load; Article 100: continuous is what lasts 3 hours or more, as a firing does.
CONTINUOUS_FACTOR = 1.25


@dataclass(frozen=True)
class CircuitLoad:
    """Currents in A: at full power, 125 % of it, and the breaker's rating."""

    rated_a: float
    continuous_a: float
    breaker_a: int
    is_breaker_at_least_continuous: bool


def circuit_load(rated_power_w: int, supply_v: int, breaker_a: int) -> CircuitLoad:
    """Return the current of a single-phase kiln of `rated_power_w` beside its breaker.

    Current is power over voltage. A three-phase kiln draws less on each phase: its plate says.
    Raises ValueError unless all three are above 0.
    """
    sizes = {"rated_power_w": rated_power_w, "supply_v": supply_v, "breaker_a": breaker_a}
    for name, value in sizes.items():
        if not value > 0:
            raise ValueError(f"{name} must be above 0, not {value!r}")
    rated_a = rated_power_w / supply_v
    continuous_a = rated_a * CONTINUOUS_FACTOR
    return CircuitLoad(rated_a, continuous_a, breaker_a, breaker_a >= round(continuous_a, 6))
