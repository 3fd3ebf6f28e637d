"""Cones against the Orton Foundation's chart, typed out here apart from the file that is loaded.

Source of every number in the three tables: Orton Foundation, "Temperature Equivalents for Orton
Pyrometric Cones", cones 022 to 14, degrees C; "-" where the chart has no value or none was seen on
a second page.
"""

import math

import pytest

from firings.calculations.cones import (
    CONES,
    LARGE_REGULAR,
    SELF_SUPPORTING,
    SMALL,
    cone_equivalent_c,
    cone_rank,
    is_within,
    published_equivalents_c,
)

SELF_SUPPORTING_CHART = """
cone 15 60 150
022 - 586 590
021 - 600 617
020 - 626 638
019 656 678 695
018 686 715 734
017 705 738 763
016 742 772 796
015 750 791 818
014 757 807 838
013 807 837 861
012 843 861 882
011 857 875 894
010 891 903 915
09 907 920 930
08 922 942 956
07 962 976 987
06 981 998 1013
05.5 1004 1015 1025
05 1021 1031 1044
04 1046 1063 1077
03 1071 1086 1104
02 1078 1102 1122
01 1093 1119 1138
1 1109 1137 1154
2 1112 1142 1164
3 1115 1152 1170
4 1141 1162 1183
5 1159 1186 1207
5.5 1167 1203 1225
6 1185 1222 1243
7 1201 1239 1257
8 1211 1249 1271
9 1224 1260 1280
10 1251 1285 1305
11 1272 1294 1315
12 1285 1306 1326
13 1310 1331 1348
14 1351 1365 1384
"""
LARGE_REGULAR_CHART = """
cone 60 150
019 676 693
018 712 732
017 736 761
016 769 794
015 788 816
014 807 836
013 837 859
012 858 880
011 873 892
010 898 913
09 917 928
08 942 954
07 973 985
06 995 1011
05 1030 1046
04 1060 1070
03 1086 1101
02 1101 1120
01 1117 1137
1 1136 1154
2 1142 1162
3 1152 1168
4 1160 1181
5 1184 1205
6 1220 1241
7 1237 1255
8 1247 1269
9 1257 1278
10 1282 1303
11 1293 1312
12 1304 1324
"""
SMALL_CHART = """
cone 300
022 630
021 643
020 666
019 723
018 752
017 784
016 825
015 843
014 870
013 880
012 900
011 915
010 919
09 955
08 983
07 1008
06 1023
04 1098
"""


def cells_of(chart: str, cone_type: str) -> list[tuple[str, str, float, float]]:
    header, *lines = chart.strip().splitlines()
    rates = [float(rate) for rate in header.split()[1:]]
    return [
        (cone_type, cone, rate, float(temp))
        for cone, *temps in (line.split() for line in lines)
        for rate, temp in zip(rates, temps, strict=True)
        if temp != "-"
    ]


CELLS = [
    *cells_of(SELF_SUPPORTING_CHART, SELF_SUPPORTING),
    *cells_of(LARGE_REGULAR_CHART, LARGE_REGULAR),
    *cells_of(SMALL_CHART, SMALL),
]


@pytest.mark.parametrize(("cone_type", "cone", "rate_c_per_h", "temp_c"), CELLS)
def test_every_cell_of_the_chart_is_given_back(cone_type, cone, rate_c_per_h, temp_c):
    assert cone_equivalent_c(cone, rate_c_per_h, cone_type) == temp_c


def test_nothing_is_loaded_that_the_chart_does_not_have():
    loaded = [
        (cone_type, cone, rate, temp_c)
        for cone_type in (SELF_SUPPORTING, LARGE_REGULAR, SMALL)
        for cone in CONES
        for rate, temp_c in published_equivalents_c(cone, cone_type).items()
    ]
    assert sorted(loaded) == sorted(CELLS)


def test_cones_stand_in_firing_order():
    # Source: the order of the chart's rows, and its 60 C/h column, which only rises.
    temps_c = [cone_equivalent_c(cone, 60) for cone in CONES]
    assert temps_c == sorted(temps_c)
    assert (CONES[0], CONES[-1]) == ("022", "14")
    assert len(CONES) == 38


def test_a_leading_zero_matters():
    # Source: the chart at 60 C/h: 06 at 998 C, 6 at 1222 C.
    assert cone_rank("06") < cone_rank("1") < cone_rank("6")


@pytest.mark.parametrize("rate_c_per_h", [100, 61, 149.9])
def test_between_rates_the_temperature_goes_with_the_logarithm_of_the_rate(rate_c_per_h):
    # Source: definition; 1222 and 1243 C are cone 6 at 60 and 150 C/h in the chart.
    temp_c = cone_equivalent_c("6", rate_c_per_h)
    assert (temp_c - 1222) / (1243 - 1222) == pytest.approx(
        math.log(rate_c_per_h / 60) / math.log(150 / 60)
    )


def test_leaving_out_the_middle_column_errs_by_2_4_c_on_average():
    # Source: derived from the chart: 35 cones with three rates, 60 C/h guessed from 15 and 150.
    share = math.log(60 / 15) / math.log(150 / 15)
    errors_c = []
    for cone in CONES:
        cells = published_equivalents_c(cone)
        if len(cells) == 3:
            errors_c.append(abs(cells[15] + share * (cells[150] - cells[15]) - cells[60]))
    assert len(errors_c) == 35
    assert sum(errors_c) / 35 == pytest.approx(2.4, abs=0.05)


@pytest.mark.parametrize(
    ("cone", "rate_c_per_h", "cone_type"),
    [
        ("6", 14.9, SELF_SUPPORTING),
        ("6", 151, SELF_SUPPORTING),
        ("022", 15, SELF_SUPPORTING),
        ("6", 0, SELF_SUPPORTING),
        ("6", float("nan"), SELF_SUPPORTING),
        ("6", 300, SMALL),
        ("06", 200, SMALL),
    ],
)
def test_rates_outside_the_chart_are_refused(cone, rate_c_per_h, cone_type):
    with pytest.raises(ValueError, match="outside the published rates"):
        cone_equivalent_c(cone, rate_c_per_h, cone_type)


@pytest.mark.parametrize("cone", ["", "023", "15", "6.0", "six", "05a"])
def test_an_unknown_cone_is_refused_with_the_known_ones(cone):
    with pytest.raises(ValueError, match=r"known cones are 022, 021, .*, 13, 14"):
        cone_rank(cone)


def test_an_unknown_cone_type_is_refused_with_the_known_ones():
    with pytest.raises(ValueError, match="known types are large self-supporting"):
        cone_equivalent_c("6", 60, "bars")


@pytest.mark.parametrize(
    ("cone", "low", "high", "expected"),
    [
        ("6", "5", "6", True),
        ("5", "5", "6", True),
        ("5.5", "5", "6", True),
        ("7", "5", "6", False),
        ("06", "5", "6", False),
        ("06", "06", "06", True),
    ],
)
def test_a_range_includes_both_its_ends(cone, low, high, expected):
    # Source: definition, in the order of the chart's rows.
    assert is_within(cone, low, high) is expected


def test_a_range_upside_down_is_refused():
    with pytest.raises(ValueError, match="upside down"):
        is_within("6", "6", "06")
