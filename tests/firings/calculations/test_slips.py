"""Slip codes: unique, readable, and mistakes in them are noticed."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firings.calculations.slips import ALPHABET, read_slip, slip_code


def test_the_alphabet_is_crockfords():
    # Source: D. Crockford, "Base 32": symbols 0-9 and A-Z without I, L, O, U.
    assert len(ALPHABET) == 32
    assert not set("ILOU") & set(ALPHABET)


def test_a_hundred_thousand_bookings_have_different_slips():
    assert len({slip_code(number) for number in range(1, 100_001)}) == 100_000


@given(st.integers(1, 30_000_000))
def test_what_is_printed_can_be_read_back(number):
    code = slip_code(number)
    assert read_slip(f" {code[:3].lower()}-{code[3:].lower()} ") == code


def test_look_alikes_are_understood():
    # Source: the same note: O is read as 0, I and L as 1.
    number = next(n for n in range(1, 1000) if {"0", "1"} <= set(slip_code(n)))
    code = slip_code(number)
    assert read_slip(code.replace("0", "o").replace("1", "l")) == code


@given(st.integers(1, 1_000_000), st.integers(0, 4), st.sampled_from(ALPHABET))
def test_one_wrong_character_is_noticed(number, place, letter):
    code = slip_code(number)
    wrong = code[:place] + letter + code[place + 1 :]
    difference = abs(ALPHABET.index(letter) - ALPHABET.index(code[place]))
    if difference in (0, 31):
        return
    with pytest.raises(ValueError, match="no slip code"):
        read_slip(wrong)


@pytest.mark.parametrize("text", ["", "12", "ABCDEFG", "????!!", "ÄÖÜ123"])
def test_what_cannot_be_a_slip_is_refused(text):
    with pytest.raises(ValueError, match="no slip code"):
        read_slip(text)
