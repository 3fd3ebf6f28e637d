"""Aim: minimum, surcharge, allowance, subsidy and crew credit each make their own step, in one
order, to the cent. Method: sums by hand, and properties for any combination."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from billing.calculations.memberships import (
    BookingShare,
    CrewTerm,
    Term,
    charge_bookings,
    crew_credit_minor,
    part_of,
)


def charge(split_minor, *terms, minimum=0, area=100):
    return charge_bookings([BookingShare(1, split_minor, area, terms)], minimum)[0]


def steps(charged):
    return [(step.kind, step.amount_minor) for step in charged.steps]


def test_without_terms_the_share_is_charged():
    assert charge(347).charged_minor == 347
    assert charge(347).steps == ()


def test_steps_follow_in_their_order():
    """By hand: 3.47 is raised to 5.00; + 25 % = 6.25; 40 of 100 mm2 are free, 2.50, so 3.75;
    1.00 free, so 2.75; 30 % of it carried, .825, and the half cent is the member's: 1.92."""
    terms = (
        Term(4, "subsidy", 3_000),
        Term(3, "amount_allowance", 100),
        Term(2, "area_allowance", 40),
        Term(1, "surcharge", 2_500),
    )
    charged = charge(347, *terms, minimum=500)
    assert steps(charged) == [
        ("minimum", 153),
        ("surcharge", 125),
        ("area_allowance", -250),
        ("amount_allowance", -100),
        ("subsidy", -83),
    ]
    assert charged.charged_minor == 192


def test_allowance_is_used_up_booking_by_booking():
    # 150 mm2 free: all of the first 100, half of the second, nothing of the third.
    term = Term(9, "area_allowance", 150)
    shares = [BookingShare(n, 300, 100, (term,)) for n in (12, 10, 11)]
    charged = charge_bookings(shares)
    assert [(one.booking_number, one.charged_minor) for one in charged] == [
        (10, 0),
        (11, 150),
        (12, 300),
    ]
    assert [step.used for one in charged for step in one.steps] == [100, 50]


def test_amount_allowance_ends_where_the_charge_does():
    assert charge(300, Term(1, "amount_allowance", 1000)).steps[0].used == 300


def test_two_allowances_are_used_one_after_the_other():
    # 60 of 100 mm2 free by one, then the other 40 by the next: nothing is left to charge.
    terms = (Term(1, "area_allowance", 60), Term(2, "area_allowance", 60))
    charged = charge(1000, *terms)
    assert [(step.amount_minor, step.used) for step in charged.steps] == [(-600, 60), (-400, 40)]
    assert charged.charged_minor == 0


def test_working_repeats_each_step():
    charged = charge(347, Term(2, "area_allowance", 40), minimum=500)
    assert charged.steps[0].working == {"minimum_minor": 500, "before_minor": 347}
    assert charged.steps[1].working == {
        "left_before_mm2": 40,
        "free_mm2": 40,
        "area_mm2": 100,
        "before_minor": 500,
    }


@pytest.mark.parametrize(
    ("amount", "part", "whole", "expected"),
    [
        (825, 1, 10, 83),  # 82.5: the half goes to the part
        (824, 1, 10, 82),
        (1000, 10_000, 10_000, 1000),
        (1000, 25_000, 10_000, 2500),  # a surcharge of 250 %
        (0, 3, 7, 0),
    ],
)
def test_part_of_an_amount(amount, part, whole, expected):
    assert part_of(amount, part, whole) == expected


@pytest.mark.parametrize(
    ("term", "minutes", "expected"),
    [
        (CrewTerm(1, "crew_firing", 400), 0, 400),
        (CrewTerm(1, "crew_hour", 650), 90, 975),
        (CrewTerm(1, "crew_hour", 650), 7, 76),  # 75.83
        (CrewTerm(1, "crew_percent", 5_000), 0, 106),  # half of 2.11, the half cent is theirs
        (CrewTerm(1, "crew_percent", 20_000), 0, 211),  # never more than is charged
    ],
)
def test_crew_credit(term, minutes, expected):
    assert crew_credit_minor(term, minutes, charged_minor=211) == expected


kinds = st.sampled_from(["surcharge", "area_allowance", "amount_allowance", "subsidy"])
terms = st.builds(Term, st.integers(1, 9), kinds, st.integers(0, 10_000))


def apart(found):
    """One term for each key, as an account holds a membership once."""
    return tuple({term.key: term for term in found}.values())


bookings = st.lists(
    st.tuples(st.integers(0, 10**5), st.integers(0, 10**4), st.lists(terms, max_size=5)),
    max_size=8,
)


@given(bookings, st.integers(0, 2_000), st.randoms(use_true_random=False))
def test_any_combination_adds_up_and_is_never_negative(rows, minimum, random):
    shares = [
        BookingShare(number, minor, area, apart(found))
        for number, (minor, area, found) in enumerate(rows)
    ]
    charged = charge_bookings(shares, minimum)
    assert len(charged) == len(shares)
    for share, one in zip(shares, charged, strict=True):
        assert one.split_minor == share.split_minor
        assert one.charged_minor == one.split_minor + sum(step.amount_minor for step in one.steps)
        assert one.charged_minor >= 0
        for step in one.steps:
            assert (step.amount_minor >= 0) == (step.kind in ("minimum", "surcharge")) or (
                step.amount_minor == 0
            )
    random.shuffle(shares)
    assert charge_bookings(shares, minimum) == charged


@given(st.lists(st.tuples(st.integers(0, 10**5), st.integers(0, 10**4)), max_size=8), st.data())
def test_an_allowance_never_gives_more_than_it_holds(rows, data):
    kind = data.draw(st.sampled_from(["area_allowance", "amount_allowance"]))
    term = Term(1, kind, data.draw(st.integers(0, 20_000)))
    shares = [BookingShare(n, minor, area, (term,)) for n, (minor, area) in enumerate(rows)]
    charged = charge_bookings(shares)
    assert sum(step.used for one in charged for step in one.steps) <= term.value


@given(st.integers(0, 10**6), st.integers(0, 10_000))
def test_part_and_rest_are_the_whole_within_half_a_unit(amount, bp):
    part = part_of(amount, bp, 10_000)
    assert abs(part - Fraction(amount * bp, 10_000)) <= Fraction(1, 2)
    assert 0 <= part <= amount


@pytest.mark.parametrize(
    ("build", "message"),
    [
        (lambda: Term(1, "gift", 5), "kind must be one of surcharge, area_allowance"),
        (lambda: Term(1, "surcharge", -5), "value of term 1 must be 0 or more, not -5"),
        (lambda: Term(1, "subsidy", 10_001), "value of subsidy 1 is more than the whole: 10001"),
        (lambda: CrewTerm(1, "gift", 5), "kind must be one of crew_firing"),
        (lambda: CrewTerm(1, "crew_hour", -1), "value of term 1 must be 0 or more"),
        (lambda: charge(-1), "split_minor must not be negative, but is -1"),
        (lambda: charge(1, minimum=-1), "minimum_minor must not be negative, but is -1"),
        (lambda: charge_bookings([BookingShare(1, 1, 1)] * 2), "name a booking twice"),
        (lambda: part_of(5, 1, 0), "whole must be more than 0, but is 0"),
        (lambda: crew_credit_minor(CrewTerm(1, "crew_hour", 1), -1, 0), "must be 0 or more"),
    ],
)
def test_refuses_impossible_terms(build, message):
    with pytest.raises(ValueError, match=message):
        build()
