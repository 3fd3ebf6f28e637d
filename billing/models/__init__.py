from billing.models.bank import BankFile, BankFileKind, BankLine, BankLineState
from billing.models.costs import (
    CostKind,
    CostLine,
    FiringCost,
    Share,
    SplitPolicy,
    TariffVersion,
)
from billing.models.electricity import (
    BillSettlement,
    ChargeKind,
    MonthChargeLine,
    MonthCharges,
    MonthChargeShare,
    UtilityBill,
)
from billing.models.ledger import JournalEntry, LedgerAccount, LedgerKind, Posting
from billing.models.policy import BillingPolicy
from billing.models.statements import MonthClose, Payment, PaymentMethod, Statement

__all__ = [
    "BankFile",
    "BankFileKind",
    "BankLine",
    "BankLineState",
    "BillSettlement",
    "BillingPolicy",
    "ChargeKind",
    "CostKind",
    "CostLine",
    "FiringCost",
    "JournalEntry",
    "LedgerAccount",
    "LedgerKind",
    "MonthChargeLine",
    "MonthChargeShare",
    "MonthCharges",
    "MonthClose",
    "Payment",
    "PaymentMethod",
    "Posting",
    "Share",
    "SplitPolicy",
    "Statement",
    "TariffVersion",
    "UtilityBill",
]
