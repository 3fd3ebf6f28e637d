from billing.models.bank import BankFile, BankFileKind, BankLine, BankLineState
from billing.models.consumables import Consumable, ConsumedPer
from billing.models.costs import (
    ChargeStep,
    CostKind,
    CostLine,
    FiringCost,
    Share,
    SplitPolicy,
    StepKind,
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
from billing.models.life_estimates import LifeEstimate
from billing.models.memberships import (
    CrewTurn,
    Membership,
    MembershipHolding,
    MembershipKind,
)
from billing.models.month_balances import MonthBalance
from billing.models.policy import BillingPolicy, FixedKind
from billing.models.refunds import Refund
from billing.models.statements import (
    MonthClose,
    Payment,
    PaymentMethod,
    Statement,
    statement_path,
)

__all__ = [
    "BankFile",
    "BankFileKind",
    "BankLine",
    "BankLineState",
    "BillSettlement",
    "BillingPolicy",
    "ChargeKind",
    "ChargeStep",
    "Consumable",
    "ConsumedPer",
    "CostKind",
    "CostLine",
    "CrewTurn",
    "FiringCost",
    "FixedKind",
    "JournalEntry",
    "LedgerAccount",
    "LedgerKind",
    "LifeEstimate",
    "Membership",
    "MembershipHolding",
    "MembershipKind",
    "MonthBalance",
    "MonthChargeLine",
    "MonthChargeShare",
    "MonthCharges",
    "MonthClose",
    "Payment",
    "PaymentMethod",
    "Posting",
    "Refund",
    "Share",
    "SplitPolicy",
    "Statement",
    "StepKind",
    "TariffVersion",
    "UtilityBill",
    "statement_path",
]
