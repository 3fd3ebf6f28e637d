"""ISO 11649: RF, two check digits by ISO 7064 MOD 97-10, up to 21 letters or digits."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from stdnum import iso11649

from billing.calculations.payment_references import (
    account_number_in,
    grouped_reference,
    reference_of,
)

# The worked example quoted from the standard's Annex B: 2348231 -> 2348231271500 mod 97 = 27,
# 98 - 27 = 71. The others: sample of the guideline EPC069-12, and lists of valid references
# published by makers of validators.
PUBLISHED = [
    (2348231, "RF712348231"),
    (539007547034, "RF18539007547034"),
    (12345678, "RF2012345678"),
    (5000056789012345, "RF485000056789012345"),
]
# From the same lists; the account numbers here are digits only.
VALID_WITH_LETTERS = ["RF45G72UUR", "RF6518K5", "RF185390075470Y", "RF056TXFK"]
# The first from the same lists; the second is misprinted on a public page.
INVALID = ["RF17539007547034", "RF68539007547034"]


@pytest.mark.parametrize(("number", "reference"), PUBLISHED)
def test_reference_is_as_published(number: int, reference: str) -> None:
    assert reference_of(number) == reference
    assert account_number_in(reference) == number


def test_check_digits_below_ten_keep_their_zero() -> None:
    """By the rule itself: the remainder of the whole, RF as 2715, must be 1."""
    found = next(number for number in range(1, 1000) if reference_of(number)[2] == "0")
    reference = reference_of(found)
    assert int(f"{found}2715{reference[2:4]}") % 97 == 1
    assert account_number_in(reference) == found


@pytest.mark.parametrize("reference", INVALID)
def test_wrong_check_digits_are_no_reference(reference: str) -> None:
    assert account_number_in(reference) is None


@pytest.mark.parametrize("reference", VALID_WITH_LETTERS)
def test_valid_reference_of_another_house_is_no_account(reference: str) -> None:
    assert iso11649.is_valid(reference)
    assert account_number_in(reference) is None


@pytest.mark.parametrize(
    "text",
    [
        "RF18 5390 0754 7034",  # printed in groups of four, as ISO 11649 says
        "rf18539007547034",
        "Statement 7, rf18 5390-0754-7034. Thank you",
        "/CINV/RF18539007547034",
        "RF 18\n539007547034",
        "RF18\u00a05390\u00a00754\u00a07034",
        "RF18 0000 0000 0539 0075 4703 4",  # filled to 21 digits: the remainder stays
        "RF18 5390 0754 7034 2026-03",
        "RF17539007547034 or RF18539007547034",
        "RF18539007547034 and again RF18 5390 0754 7034",
    ],
)
def test_reference_is_found_in_what_people_and_banks_write(text: str) -> None:
    assert account_number_in(text) == 539007547034


@pytest.mark.parametrize(
    "text",
    [
        "",
        "March, Ada Rowan",
        "RF",
        "RF18",
        "RF00000",
        "RF18539007547034A",
        "XRF18539007547034",
        "RF18 5390 0754 7035",
        "RF712348231 RF18539007547034",
        "RF" + "9" * 5000,
        "RF98" + " 0" * 5000,
    ],
)
def test_anything_else_names_no_account(text: str) -> None:
    assert account_number_in(text) is None


def test_people_read_it_in_groups_of_four() -> None:
    assert grouped_reference("RF18539007547034") == "RF18 5390 0754 7034"


@pytest.mark.parametrize("number", [0, -1, 10**21])
def test_number_that_no_reference_can_carry(number: int) -> None:
    with pytest.raises(ValueError, match="account_number must be 1 or more"):
        reference_of(number)


@given(number=st.integers(1, 10**21 - 1))
def test_every_number_comes_back(number: int) -> None:
    reference = reference_of(number)
    assert len(reference) <= 25
    assert iso11649.is_valid(reference)
    assert account_number_in(f"Thanks, {grouped_reference(reference).lower()}!") == number


@given(number=st.integers(1, 10**12), at=st.integers(4, 30), digit=st.integers(1, 9))
def test_one_wrong_digit_is_always_noticed(number: int, at: int, digit: int) -> None:
    """Property of MOD 97-10: it finds every single wrong digit (ISO 7064)."""
    reference = reference_of(number)
    at = min(at, len(reference) - 1)
    wrong = str((int(reference[at]) + digit) % 10)
    assert account_number_in(reference[:at] + wrong + reference[at + 1 :]) is None
