"""Aim: every account stands in the right column and the columns agree. Method: textbook entries;
a debit is positive, a credit negative."""

import pytest

from billing.calculations.trial_balance import TrialBalanceRow, TrialPosting, trial_balance


def entry(debit, credit, amount):
    return [TrialPosting(debit, amount), TrialPosting(credit, -amount)]


def balance_of(*entries):
    return trial_balance([posting for postings in entries for posting in postings])


def test_pose_for_pics():
    # Wild, Financial Accounting, exercise "Pose-for-Pics".
    balance = balance_of(
        entry("cash", "capital", 7_300),
        entry("equipment", "capital", 34_300),
        entry("prepaid", "cash", 2_900),
        entry("supplies", "cash", 960),
        entry("cash", "fees", 4_131),
        entry("utilities", "cash", 755),
    )
    assert balance.rows == (
        TrialBalanceRow("capital", 0, 41_600),
        TrialBalanceRow("cash", 6_816, 0),
        TrialBalanceRow("equipment", 34_300, 0),
        TrialBalanceRow("fees", 0, 4_131),
        TrialBalanceRow("prepaid", 2_900, 0),
        TrialBalanceRow("supplies", 960, 0),
        TrialBalanceRow("utilities", 755, 0),
    )
    assert (balance.debit_total_minor, balance.credit_total_minor) == (45_731, 45_731)


def test_eight_entries_with_an_account_that_settles():
    # Wild, Financial Accounting, exercise of entries a to h: cash 8,982, both totals 21,945. A
    # solution in circulation prints receivables 4,967; only 3,498 - 1,469 makes columns agree.
    balance = balance_of(
        entry("cash", "stock", 16_500),
        entry("supplies", "cash", 479),
        entry("equipment", "payable", 9_125),
        entry("cash", "fees", 1_947),
        entry("payable", "cash", 9_125),
        entry("receivable", "fees", 3_498),
        entry("rent", "cash", 530),
        entry("cash", "receivable", 1_469),
        entry("dividends", "cash", 800),
    )
    rows = {row.account_code: (row.debit_minor, row.credit_minor) for row in balance.rows}
    assert (rows["cash"], rows["receivable"], rows["payable"]) == ((8_982, 0), (2_029, 0), (0, 0))
    assert (balance.debit_total_minor, balance.credit_total_minor) == (21_945, 21_945)
    assert balance.is_balanced


def test_ps_music():
    # Warren, Reeve, Duchac, Accounting, continuing problem PS Music: total 40,750.
    debits = [9945, 2750, 1020, 2700, 7500, 1750, 2800, 2550, 1375, 1215, 3610, 1500, 180, 1855]
    credit_balances = [8350, 7200, 9000, 16200]
    postings = [TrialPosting(f"1{n:02d}", amount) for n, amount in enumerate(debits)]
    postings += [TrialPosting(f"2{n:02d}", -amount) for n, amount in enumerate(credit_balances)]
    balance = trial_balance(postings)
    assert (balance.debit_total_minor, balance.credit_total_minor) == (40_750, 40_750)


def test_one_sided_posting_is_seen():
    assert not trial_balance([TrialPosting("cash", 1)]).is_balanced


def test_amount_must_be_whole():
    with pytest.raises(ValueError, match=r"amount_minor must be a whole number, not 1.5"):
        trial_balance([TrialPosting("cash", 1.5)])
