"""How well a kiln's wear reserve is funded, and what a part's life teaches.

Component method of the National Reserve Study Standards (Community Associations Institute): the
fully funded balance of a component is its current replacement cost times its effective age over
its useful life; a reserve's percent funded is its balance over the sum of those.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction

from studio.calculations.money import round_half_up

LIFE_EXACTNESS = Decimal("0.01")
# Beyond some thirty years a date is no forecast any more.
DAYS_AHEAD_MAX = 11_000


@dataclass(frozen=True)
class Component:
    """A part of a reserve: what replacing it costs today, how long it lasts, how old it is.

    Life and age in the same units, whatever they are: years, firings, weighted hours.
    """

    replacement_cost_minor: int
    useful_life: Decimal
    effective_age: Decimal

    def __post_init__(self) -> None:
        if self.replacement_cost_minor < 0:
            raise ValueError(
                f"replacement_cost_minor must not be negative, but is {self.replacement_cost_minor}"
            )
        if self.useful_life <= 0:
            raise ValueError(f"useful_life must be more than 0, but is {self.useful_life}")
        if self.effective_age < 0:
            raise ValueError(f"effective_age must not be negative, but is {self.effective_age}")

    @property
    def life_left(self) -> Decimal:
        """What is left of the useful life; 0 once the part has outlived it."""
        return max(self.useful_life - self.effective_age, Decimal(0))


def fully_funded_minor(component: Component) -> int:
    """Current cost x effective age / useful life, halves up; never more than the cost."""
    age = min(component.effective_age, component.useful_life)
    return round_half_up(
        component.replacement_cost_minor * Fraction(age) / Fraction(component.useful_life)
    )


def percent_funded(balance_minor: int, components: Sequence[Component]) -> int | None:
    """A reserve's balance in whole percent of what full funding would be; None where that is 0."""
    whole_minor = sum(fully_funded_minor(component) for component in components)
    if whole_minor == 0:
        return None
    return round_half_up(Fraction(100 * balance_minor, whole_minor))


def due_on(component: Component, used: Decimal, days: int, on: date) -> date | None:
    """About when a part's life will be used up, at the pace of `used` units in `days`.

    Today when nothing is left; None without a pace, or when it lies too far off to tell.
    """
    if component.life_left == 0:
        return on
    if used <= 0 or days <= 0:
        return None
    ahead = round_half_up(Fraction(component.life_left) * days / Fraction(used))
    return on + timedelta(days=ahead) if ahead <= DAYS_AHEAD_MAX else None


def learned_life(estimate: Decimal, observed: Decimal, weight: int = 1) -> Decimal:
    """What the next part is expected to last, to two decimals: (estimate x weight + observed) /
    (weight + 1). With a weight that grows by one each time it is the mean of the first estimate
    and of every life that was observed. (Common practice, no source.)

    Raises ValueError for a life of nothing or a weight below 1.
    """
    if estimate <= 0 or observed <= 0:
        raise ValueError(f"estimate {estimate} and observed {observed} must be more than 0")
    if weight < 1:
        raise ValueError(f"weight must be 1 or more, but is {weight}")
    mean = (estimate * weight + observed) / (weight + 1)
    return mean.quantize(LIFE_EXACTNESS, ROUND_HALF_UP)
