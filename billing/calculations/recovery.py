"""Who has carried a firing's electricity: members, or the studio."""

from fractions import Fraction

from studio.calculations.money import round_half_up


def members_part_minor(energy_minor: int, pool_minor: int, studio_minor: int) -> int:
    """The members' part of a firing's electricity, in minor units.

    Of a pool of which the studio carries some, it carries the same part of each line; rounded
    halves up. Raises ValueError unless the studio carries between nothing and the whole pool.
    """
    if not 0 <= studio_minor <= pool_minor:
        raise ValueError(
            f"studio_minor must lie between 0 and the pool of {pool_minor}, not {studio_minor}"
        )
    if pool_minor == 0:
        return 0
    return round_half_up(Fraction(energy_minor * (pool_minor - studio_minor), pool_minor))
