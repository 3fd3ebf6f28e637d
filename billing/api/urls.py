"""The API of accounts, statements and the books."""

from django.urls import path
from rest_framework.routers import SimpleRouter

from billing.api.accounts import BalancesView, BalanceView, CreditView
from billing.api.bank_files import BankFileViewSet
from billing.api.bank_lines import BankLineViewSet
from billing.api.billing_policy import BillingPolicyView
from billing.api.costs import FiringCostViewSet
from billing.api.journal import JournalViewSet, TrialBalanceView
from billing.api.journal_export import JournalExportView
from billing.api.memberships import CrewTurnViewSet, HoldingViewSet, MembershipViewSet
from billing.api.month_charges import MonthChargeShareViewSet, MonthChargesViewSet
from billing.api.months import MonthCloseViewSet
from billing.api.payments import PaymentViewSet
from billing.api.refunds import RefundViewSet
from billing.api.statements import ShareViewSet, StatementPdfView, StatementViewSet
from billing.api.tariffs import TariffViewSet
from billing.api.utility_bills import UtilityBillViewSet
from billing.api.wear import ConsumableViewSet, EstimateView, ReservesView

router = SimpleRouter(use_regex_path=False)
router.register("statements", StatementViewSet)
router.register("shares", ShareViewSet)
router.register("refunds", RefundViewSet)
router.register("memberships", MembershipViewSet)
router.register("membership-holdings", HoldingViewSet)
router.register("crew-turns", CrewTurnViewSet)
router.register("consumables", ConsumableViewSet)
router.register("payments", PaymentViewSet)
router.register("bank-files", BankFileViewSet)
router.register("bank-lines", BankLineViewSet)
router.register("firing-costs", FiringCostViewSet)
router.register("tariffs", TariffViewSet)
router.register("month-closes", MonthCloseViewSet)
router.register("month-charges", MonthChargesViewSet)
router.register("month-charge-shares", MonthChargeShareViewSet)
router.register("utility-bills", UtilityBillViewSet)
router.register("journal", JournalViewSet)

urlpatterns = [
    path("balances/", BalancesView.as_view(), name="api_balances"),
    path("accounts/<int:number>/balance/", BalanceView.as_view(), name="api_balance"),
    path("accounts/<int:number>/credits/", CreditView.as_view(), name="api_credit"),
    path("statements/<int:number>/pdf/", StatementPdfView.as_view(), name="api_statement_pdf"),
    path("billing-policy/", BillingPolicyView.as_view(), name="api_billing_policy"),
    path("reserves/", ReservesView.as_view(), name="api_reserves"),
    path("kiln-parts/<int:pk>/estimates/", EstimateView.as_view(), name="api_estimate"),
    path("trial-balance/", TrialBalanceView.as_view(), name="api_trial_balance"),
    path("journal/export/", JournalExportView.as_view(), name="api_journal_export"),
    *router.urls,
]
