"""Aim: a statement adds up and its balance ages rightly. Method: the rule of ISO 20022
camt.053, published sums, boundary days."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from billing.calculations.statements import (
    AgedBalance,
    OpenItem,
    age_balance,
    statement_totals,
)

MARCH_31 = date(2026, 3, 31)


def line(kind, amount_minor):
    return kind, amount_minor


def test_closing_is_opening_plus_charges_less_credits_and_payments():
    # ISO 20022 camt.053: CLBD = OPBD + sum of booked entries.
    lines = [line("charge", 1234), line("charge", 66), line("credit", 100), line("payment", 900)]
    totals = statement_totals(500, lines)
    assert (totals.charges_minor, totals.credits_minor, totals.payments_minor) == (1300, 100, 900)
    assert totals.closing_minor == 800


def test_statement_without_lines_carries_the_balance_forward():
    assert statement_totals(-250, []).closing_minor == -250


def test_amounts_that_cancel_come_to_nothing():
    # ConnectingEurope/eInvoicing-EN16931, example on rule BR-CO-10: +720.81 +0.01 -720.81 -0.01
    # must be 0.00; binary floats miss it.
    lines = [line("charge", 72081), line("charge", 1), line("credit", 72081), line("credit", 1)]
    assert statement_totals(0, lines).closing_minor == 0


def test_invoice_and_its_credit_note_cancel():
    # OpenPEPPOL/peppol-bis-invoice-3 examples: payable 1,656.25 as invoice 380 and note 381.
    lines = [line("charge", 165625), line("credit", 165625)]
    assert statement_totals(0, lines).closing_minor == 0


@given(
    st.integers(-(10**6), 10**6),
    st.lists(
        st.lists(
            st.builds(line, st.sampled_from(["charge", "credit", "payment"]), st.integers(0, 10**6))
        ),
        max_size=6,
    ),
)
def test_statements_in_a_row_equal_one_over_the_whole_time(opening_minor, months):
    # camt.053: OPBD = CLBD of the statement before.
    balance_minor = opening_minor
    for lines in months:
        balance_minor = statement_totals(balance_minor, lines).closing_minor
    whole = statement_totals(opening_minor, [entry for lines in months for entry in lines])
    assert whole.closing_minor == balance_minor


def test_line_refuses_negative_amounts_and_unknown_kinds():
    with pytest.raises(ValueError, match="amount_minor must be a whole number, 0 or more, not -1"):
        statement_totals(0, [line("charge", -1)])
    with pytest.raises(ValueError, match="kind must be one of charge, credit, payment"):
        statement_totals(0, [line("refund", 1)])


# The boundaries are common practice, no source.
@pytest.mark.parametrize(
    ("days_past_due", "bucket"),
    [
        (-5, "current_minor"),
        (0, "current_minor"),
        (1, "days_1_to_30_minor"),
        (30, "days_1_to_30_minor"),
        (31, "days_31_to_60_minor"),
        (60, "days_31_to_60_minor"),
        (61, "days_61_to_90_minor"),
        (90, "days_61_to_90_minor"),
        (91, "over_90_minor"),
    ],
)
def test_item_ages_by_days_past_due(days_past_due, bucket):
    item = OpenItem(MARCH_31 - timedelta(days=days_past_due), 1000)
    assert age_balance([item], MARCH_31) == AgedBalance(**{bucket: 1000})


def test_published_ageing_schedule():
    # Accounting exercise (one of solutioninn.com 10919353, wizedu.com 44747): 320,000, 110,000,
    # 24,000, 18,000 and 43,000 with an allowance of 1, 3, 10, 33 and 75 %, together 47,090.
    amounts = {0: 320_000, 15: 110_000, 45: 24_000, 75: 18_000, 120: 43_000}
    items = [OpenItem(MARCH_31 - timedelta(days=days), owed) for days, owed in amounts.items()]
    aged = age_balance(items, MARCH_31)
    percents = {
        aged.current_minor: 1,
        aged.days_1_to_30_minor: 3,
        aged.days_31_to_60_minor: 10,
        aged.days_61_to_90_minor: 33,
        aged.over_90_minor: 75,
    }
    assert sum(owed * percent for owed, percent in percents.items()) == 4_709_000
    assert sum(vars(aged).values()) == 515_000


def test_credit_ages_on_its_own_date_and_the_sum_is_the_balance():
    items = [OpenItem(MARCH_31 - timedelta(days=45), 700), OpenItem(MARCH_31, -1000)]
    aged = age_balance(items, MARCH_31)
    assert (aged.current_minor, aged.days_31_to_60_minor, sum(vars(aged).values())) == (
        -1000,
        700,
        -300,
    )
