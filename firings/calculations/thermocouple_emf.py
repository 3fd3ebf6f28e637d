"""What a thermocouple's millivolts say: reference functions of ITS-90 for types K, S and R.

Source of the functions: NIST Monograph 175 (Burns and others, 1993), the coefficients as in NIST
Standard Reference Database 60. They give the voltage in mV at a temperature in C with the
reference junction at 0 C; the temperature of a voltage is solved from them, to 0.001 C or better.
A thermocouple whose terminal is not at 0 C shows the difference of two such voltages, so that of
the terminal is added first (the same monograph, 1.4: law of intermediate temperatures).
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


class _Piece(NamedTuple):
    """A range in C, and the polynomial in it, from the constant term up."""

    low_c: float
    high_c: float
    terms: tuple[float, ...]


_K_BELOW_0 = (
    *(0.0, 0.394501280250e-01, 0.236223735980e-04, -0.328589067840e-06, -0.499048287770e-08),
    *(-0.675090591730e-10, -0.574103274280e-12, -0.310888728940e-14, -0.104516093650e-16),
    *(-0.198892668780e-19, -0.163226974860e-22),
)
_K_ABOVE_0 = (
    *(-0.176004136860e-01, 0.389212049750e-01, 0.185587700320e-04, -0.994575928740e-07),
    *(0.318409457190e-09, -0.560728448890e-12, 0.560750590590e-15, -0.320207200030e-18),
    *(0.971511471520e-22, -0.121047212750e-25),
)
_K_BELL = (0.118597600000, -0.118343200000e-03, 126.9686)  # a0 exp(a1 (t - a2)2), above 0 C
_S_LOW = (
    *(0.0, 0.540313308631e-02, 0.125934289740e-04, -0.232477968689e-07, 0.322028823036e-10),
    *(-0.331465196389e-13, 0.255744251786e-16, -0.125068871393e-19, 0.271443176145e-23),
)
_S_MIDDLE = (
    *(0.132900444085e01, 0.334509311344e-02, 0.654805192818e-05, -0.164856259209e-08),
    0.129989605174e-13,
)
_S_HIGH = (
    *(0.146628232636e03, -0.258430516752e00, 0.163693574641e-03, -0.330439046987e-07),
    -0.943223690612e-14,
)
_R_LOW = (
    *(0.0, 0.528961729765e-02, 0.139166589782e-04, -0.238855693017e-07, 0.356916001063e-10),
    *(-0.462347666298e-13, 0.500777441034e-16, -0.373105886191e-19, 0.157716482367e-22),
    -0.281038625251e-26,
)
_R_MIDDLE = (
    *(0.295157925316e01, -0.252061251332e-02, 0.159564501865e-04, -0.764085947576e-08),
    *(0.205305291024e-11, -0.293359668173e-15),
)
_R_HIGH = (
    *(0.152232118209e03, -0.268819888545e00, 0.171280280471e-03, -0.345895706453e-07),
    -0.934633971046e-14,
)
_PIECES: dict[str, tuple[_Piece, ...]] = {
    "K": (_Piece(-270.0, 0.0, _K_BELOW_0), _Piece(0.0, 1372.0, _K_ABOVE_0)),
    "S": (
        _Piece(-50.0, 1064.18, _S_LOW),
        _Piece(1064.18, 1664.5, _S_MIDDLE),
        _Piece(1664.5, 1768.1, _S_HIGH),
    ),
    "R": (
        _Piece(-50.0, 1064.18, _R_LOW),
        _Piece(1064.18, 1664.5, _R_MIDDLE),
        _Piece(1664.5, 1768.1, _R_HIGH),
    ),
}
EMF_TYPES: tuple[str, ...] = tuple(_PIECES)
# What a kiln and its terminals can be at; below -50 C no reading of a kiln is kept anyway.
LOWEST_C = -50.0


def emf_mv(temp_c: npt.ArrayLike, kind: str) -> Floats:
    """Return the voltage in mV of type `kind` (K, S or R) at temperatures in C, any shape.

    The reference junction is at 0 C. Valid from -50 C to 1372 C (K) or 1768.1 C (S, R).
    Raises ValueError for another type and for temperatures outside the function's range.
    """
    _require_type(kind)
    wanted = np.asarray(temp_c, dtype=np.float64)
    high_c = _PIECES[kind][-1].high_c
    if not np.all((wanted >= LOWEST_C) & (wanted <= high_c)):
        raise ValueError(f"temp_c of type {kind} must lie between {LOWEST_C:g} and {high_c:g} C")
    return _reference_mv(wanted, kind)


def temp_from_emf_c(emf: npt.ArrayLike, kind: str, cold_junction_c: npt.ArrayLike = 0.0) -> Floats:
    """Return the temperatures in C of voltages in mV; both may be arrays of one shape.

    `cold_junction_c` is the temperature of the terminals. NaN stays NaN. A voltage outside the
    function's range gives NaN too: a broken or a wrong wire. Raises ValueError for another type.
    """
    _require_type(kind)
    junction_c = np.asarray(cold_junction_c, dtype=np.float64)
    junction_c = np.where(np.abs(junction_c) <= -LOWEST_C * 3, junction_c, np.nan)
    whole_mv = np.asarray(emf, dtype=np.float64) + _reference_mv(junction_c, kind)
    grid_c, grid_mv = _GRIDS[kind]
    # A chord of 1 C is out by 0.01 C at most: two steps of Newton's method settle it.
    found_c = np.interp(whole_mv, grid_mv, grid_c, left=np.nan, right=np.nan)
    for _ in range(2):
        slope = (_reference_mv(found_c + 0.01, kind) - _reference_mv(found_c - 0.01, kind)) / 0.02
        found_c = found_c - (_reference_mv(found_c, kind) - whole_mv) / slope
    return found_c


def _require_type(kind: str) -> None:
    if kind not in _PIECES:
        raise ValueError(f"kind {kind!r} is not known; known are {', '.join(EMF_TYPES)}")


def _reference_mv(temp_c: Floats, kind: str) -> Floats:
    pieces = _PIECES[kind]
    volts = np.polynomial.polynomial.polyval(temp_c, pieces[0].terms)
    for piece in pieces[1:]:
        above = np.polynomial.polynomial.polyval(temp_c, piece.terms)
        if kind == "K":
            height, width, middle_c = _K_BELL
            above = above + height * np.exp(width * (temp_c - middle_c) ** 2)
        volts = np.where(temp_c >= piece.low_c, above, volts)
    return np.asarray(volts, dtype=np.float64)


def _grid(kind: str) -> tuple[Floats, Floats]:
    high_c = math.floor(_PIECES[kind][-1].high_c)
    grid_c = np.arange(LOWEST_C, high_c + 1.0)
    return grid_c, _reference_mv(grid_c, kind)


_GRIDS: dict[str, tuple[Floats, Floats]] = {kind: _grid(kind) for kind in _PIECES}
