from __future__ import annotations

import pytest

from billing.calculations.bank_details import (
    PAYEE_LENGTH_MAX,
    grouped_iban,
    is_in_eea,
    read_bic,
    read_iban,
    read_payee,
)

# Samples of the IBAN registry (ISO 13616) and the worked example GB82 of public descriptions of
# the standard; BE31 is the sample of the published check digit calculation.
REGISTRY_SAMPLES = [
    "GB82WEST12345698765432",
    "AT611904300234573201",
    "CH9300762011623852957",
    "DE89370400440532013000",
    "FR1420041010050500013M02606",
    "GB29NWBK60161331926819",
    "GR1601101250000000012300695",
    "IE29AIBK93115212345678",
    "BE31435411161155",
]


@pytest.mark.parametrize("iban", REGISTRY_SAMPLES)
def test_sample_of_the_registry_is_read_as_people_type_it(iban: str) -> None:
    assert read_iban(iban) == iban
    assert read_iban(f" {grouped_iban(iban).lower()} ") == iban


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("GB82TEST12345698765432", "check digits"),  # published as invalid: the remainder is 5
        ("XX431234", "XX is no country"),  # right check digits, no such country: also published
        ("DE8937040044053201300", "check digits"),
        ("DE5137040044053201300", "too short"),  # right check digits for one digit too few
        ("DE89 3704 0044 0532 0130 0\u0660", "letters A to Z"),
        ("DE89-3704-0044-0532-0130-0_", "too short"),
        ("12345", "check digits"),
        ("!", "too short"),
    ],
)
def test_wrong_iban_is_told_what_is_wrong(typed: str, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        read_iban(typed)


# Samples of the guideline EPC069-12 and of public descriptions of ISO 9362.
@pytest.mark.parametrize(
    ("typed", "bic"),
    [("BHBLDEHHXXX", "BHBLDEHHXXX"), ("bpot be b1", "BPOTBEB1"), ("AGRIFRPP882", "AGRIFRPP882")],
)
def test_bic_is_tidied(typed: str, bic: str) -> None:
    assert read_bic(typed) == bic


@pytest.mark.parametrize("typed", ["AGRIFRPP8", "AGRIF2PP", "AGRIZZPP", "AGRIFRP\u00dc", "x" * 60])
def test_wrong_bic_is_refused(typed: str) -> None:
    with pytest.raises(ValueError, match="8 or 11 characters"):
        read_bic(typed)


def test_nothing_typed_is_nothing() -> None:
    assert (read_iban("  "), read_bic(""), read_payee(" ")) == ("", "", "")


def test_payee_fits_a_transfer() -> None:
    """EPC069-12: 1 to 70 characters on one line."""
    assert read_payee("  Franz\n Mustermänn ") == "Franz Mustermänn"
    assert read_payee("Ä" * PAYEE_LENGTH_MAX) == "Ä" * PAYEE_LENGTH_MAX
    for too_long in ("x" * (PAYEE_LENGTH_MAX + 1), "\U0001f3fa" * PAYEE_LENGTH_MAX):
        with pytest.raises(ValueError, match="at most 70 letters"):
            read_payee(too_long)
    with pytest.raises(ValueError, match="cannot be printed"):
        read_payee("Ada\u0000Rowan")


def test_economic_area_is_the_union_and_three_more() -> None:
    """Agreement on the European Economic Area; Switzerland and Britain are outside."""
    inside = [iban for iban in REGISTRY_SAMPLES if is_in_eea(iban)]
    assert [iban[:2] for iban in inside] == ["AT", "DE", "FR", "GR", "IE", "BE"]
