"""Witness cones: bends to temperatures, packs to layers, evenness from top to bottom.

Cone temperatures are the Orton chart's for self-supporting cones at 60 C per hour: 5 1186, 6 1222,
7 1239, 04 1063, 03 1086 C. A cone takes 15 to 25 minutes to bend (supplier pages repeating the
maker's text): at 60 C per hour 15 to 25 C. Production cones lie within 2 C of the standard (the
cone maker, on a potters' list, 7 May 2003).
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firings.calculations.cone_packs import (
    ConeFound,
    MeasuredLayer,
    evenness,
    measured_layers,
    measured_packs,
    near_height,
    pack_around,
    role_of,
)
from firings.calculations.cones import CONES
from firings.calculations.witness_cones import (
    ConeBend,
    bend_from_clock,
    cone_c,
    difference_in_cones,
    measured_cone,
    measured_words,
)


def pack(*bends: tuple[str, float]) -> list[ConeBend]:
    return [ConeBend(cone, bend) for cone, bend in bends]


@pytest.mark.parametrize(
    ("clock", "bend"),
    # 12 o'clock stands, a kiln maker's tip sheet calls the end 6 o'clock; an hour hand turns
    # 30 degrees an hour, so 3 o'clock is half of the way
    [
        ("12", 0),
        ("3", 0.5),
        ("6", 1),
        ("4:30", 0.75),
        ("1.5", 0.25),
        ("1,5", 0.25),
        ("12:30", 0.08),
    ],
)
def test_the_clock_face_is_read_as_a_bend(clock, bend):
    assert bend_from_clock(clock) == bend


@pytest.mark.parametrize("clock", ["7", "11:59", "-1", "noon", "", "3:75", "3:-1", "nan", "6:01"])
def test_what_no_tip_points_at_is_refused(clock):
    with pytest.raises(ValueError, match="clock"):
        bend_from_clock(clock)


def test_one_down_and_the_next_standing_is_said_to_be_between():
    measured = measured_cone(pack(("5", 1), ("6", 0)))
    # 5 is down: 1186 - 2; 6 stands: 1222 - 15 + 2
    assert (measured.low_c, measured.high_c) == (1184, 1209)
    assert measured_words(measured) == "between cone 5 and cone 6"


def test_a_cone_half_bent_narrows_it():
    measured = measured_cone(pack(("5", 1), ("6", 0.5), ("7", 0)))
    # half of 15 to 25 C is left: 7.5 to 12.5 C below 1222, 10 C in the middle
    assert measured.middle_c == pytest.approx(1212)
    assert measured.either_way_c < 7
    # (1212 - 1186) / (1222 - 1186) = 0.722
    assert measured_words(measured) == "between cone 5 and cone 6, 72% of the way"


def test_the_chart_has_the_guard_move_before_the_firing_cone_is_down():
    # 6 and 7 lie 17 C apart, less than a cone takes to bend
    measured = measured_cone(pack(("6", 0.95), ("7", 0.1)))
    assert measured_words(measured) == "cone 6"
    assert not measured.contradicts


def test_a_pack_that_is_all_down_says_at_least_and_one_that_stands_below():
    down, standing = measured_cone(pack(("5", 1), ("6", 1))), measured_cone(pack(("6", 0)))
    assert (down.middle_c, standing.middle_c) == (None, None)
    assert measured_words(down) == "cone 6 at least: no hotter cone stood beside it"
    assert measured_words(standing) == "below cone 6"


def test_a_hotter_cone_down_beside_a_cooler_one_standing_is_a_contradiction():
    assert measured_cone(pack(("5", 0), ("6", 1))).contradicts


@pytest.mark.parametrize(
    ("bends", "told"),
    [
        ([], "at least one"),
        ([("6", 1), ("6", 0)], "once"),
        ([("99", 1)], "not known"),
        ([("6", 1.2)], "from 0 to 1"),
    ],
)
def test_what_is_no_pack_is_refused(bends, told):
    with pytest.raises(ValueError, match=told):
        measured_cone(pack(*bends))


@given(st.sampled_from([c for c in CONES[1:-1] if "." not in c]), st.floats(-12, 12))
def test_what_bent_a_pack_lies_in_its_range(cone, above_c):
    """Cones bent as the sources say (20 C over the end of the way) give back what bent them."""
    reached_c = cone_c(cone) + above_c
    aimed = CONES.index(cone)
    bends = [
        (one, min(1.0, max(0.0, 1 - (cone_c(one) - reached_c) / 20)))
        for one in CONES[aimed - 1 : aimed + 2]
    ]
    measured = measured_cone(pack(*bends))
    assert not measured.contradicts
    assert (measured.low_c or -1) - 1e-6 <= reached_c <= (measured.high_c or 9999) + 1e-6


def test_differences_are_counted_in_cones_of_the_chart():
    assert difference_in_cones(1222, 1186) == pytest.approx(2)  # 5, 5.5 and 6 are on the chart
    assert difference_in_cones(1063, 1086) == pytest.approx(-1)


def test_roles_follow_from_the_cone():
    # guide, firing, guard, one cone apart (encyclopaedia; suppliers)
    assert [role_of(cone, "6") for cone in ("5", "6", "7")] == ["guide", "firing", "guard"]
    assert role_of("06", "6") == "guide"  # a leading zero matters
    assert pack_around("6") == ("5", "6", "7")
    assert pack_around("5.5") == ("5", "5.5", "6")
    assert pack_around("14") == ("13", "14")


def test_layers_come_from_their_packs_and_the_kiln_from_its_layers():
    found = [
        ConeFound(3, "", "5", 1), ConeFound(3, "", "6", 0.9), ConeFound(3, "", "7", 0.05),
        ConeFound(1, "left", "5", 1), ConeFound(1, "left", "6", 0.3),
        ConeFound(1, "right", "5", 1), ConeFound(1, "right", "6", 0.5),
        ConeFound(2, "", "6", 1),
    ]  # fmt: skip
    packs = measured_packs(found)
    assert [(one.layer, one.position) for one in packs] == [
        (1, "left"), (1, "right"), (2, ""), (3, ""),
    ]  # fmt: skip
    layers = measured_layers(packs)
    # layer 2 is not bracketed; layer 1 lies between 1222 - 14 and 1222 - 10
    assert [layer.layer for layer in layers] == [1, 3]
    assert layers[0].temp_c == pytest.approx(1210)
    even = evenness(layers)
    assert even is not None
    assert even.difference_c == pytest.approx(layers[1].temp_c - 1210)
    assert 0 < even.difference_cones < 1
    assert evenness(layers[:1]) is None


def test_the_layer_nearest_to_the_thermocouple_is_taken():
    layers = [MeasuredLayer(n, 1200 + n, 3) for n in (1, 2, 4)]
    heights = {1: 50.0, 2: 260.0, 4: 480.0}
    assert near_height(layers, heights, 285).layer == 2
    assert near_height(layers, heights, 400).layer == 4
    assert near_height(layers, {}, 400).layer == 2
    assert near_height([], {}, 400) is None
