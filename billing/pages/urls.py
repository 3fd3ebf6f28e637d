"""The addresses of accounts, statements and the books."""

from django.urls import path, register_converter

from billing.pages import (
    balance_pages,
    bank_file_pages,
    bank_line_pages,
    billing_policy,
    cost_pages,
    journal_export,
    journal_pages,
    month_pages,
    my_account,
    payment_pages,
    share_page,
    statement_pages,
    tariff_pages,
    this_month,
)
from billing.pages.months import MonthInAddress

register_converter(MonthInAddress, "month")

app_name = "billing"
urlpatterns = [
    path("account/", my_account.my_account, name="my_account"),
    path("shares/<int:pk>/", share_page.share, name="share"),
    path("statements/<int:number>/", statement_pages.statement, name="statement"),
    path("statements/<int:number>/pdf/", statement_pages.pdf, name="statement_pdf"),
    path("books/", this_month.this_month, name="this_month"),
    path("books/accounts/", balance_pages.balances, name="balances"),
    path("books/accounts/<int:number>/", balance_pages.account_lines, name="account_lines"),
    path("books/accounts/<int:number>/credit/", payment_pages.credit, name="give_credit"),
    path("books/payments/", payment_pages.payments, name="payments"),
    path("books/payments/record/", payment_pages.record, name="record_payment"),
    path("books/payments/<int:pk>/reverse/", payment_pages.reverse, name="reverse_payment"),
    path("books/bank/", bank_line_pages.lines, name="bank_lines"),
    path("books/bank/send/", bank_file_pages.send, name="send_bank_file"),
    path("books/bank/columns/<str:key>/", bank_file_pages.columns, name="bank_columns"),
    path("books/bank/files/", bank_file_pages.files, name="bank_files"),
    path("books/bank/files/<int:pk>/", bank_file_pages.file, name="bank_file"),
    path("books/bank/certain/", bank_line_pages.confirm_certain, name="confirm_certain"),
    path("books/bank/dealt-with/", bank_line_pages.dealt_with, name="bank_lines_dealt_with"),
    path("books/bank/lines/<int:pk>/", bank_line_pages.line, name="bank_line"),
    path("books/bank/lines/<int:pk>/confirm/", bank_line_pages.confirm, name="confirm_bank_line"),
    path(
        "books/bank/lines/<int:pk>/set-aside/",
        bank_line_pages.set_aside,
        name="set_aside_bank_line",
    ),
    path(
        "books/bank/lines/<int:pk>/bring-back/",
        bank_line_pages.bring_back,
        name="bring_back_bank_line",
    ),
    path("books/costs/", cost_pages.costs, name="costs"),
    path("books/costs/<int:pk>/", cost_pages.cost, name="cost"),
    path("books/costs/<int:pk>/reverse/", cost_pages.reverse, name="reverse_cost"),
    path("books/costs/price/<int:pk>/", cost_pages.price_again, name="price_again"),
    path("books/months/", month_pages.months, name="months"),
    path("books/months/<month:month>/", month_pages.month, name="month"),
    path("books/months/<month:month>/close/", month_pages.close, name="close_month"),
    path("books/journal/", journal_pages.journal, name="journal"),
    path("books/journal/<int:pk>/", journal_pages.entry, name="entry"),
    path("books/journal/<int:pk>/reverse/", journal_pages.reverse, name="reverse_entry"),
    path("books/journal/export/", journal_export.journal_export, name="journal_export"),
    path("books/journal/export/file/", journal_export.journal_file, name="journal_file"),
    path("books/trial-balance/", journal_pages.trial_balance, name="trial_balance"),
    path("books/tariffs/", tariff_pages.tariffs, name="tariffs"),
    path("books/tariffs/<int:pk>/", tariff_pages.tariff, name="tariff"),
    path("books/tariffs/<int:pk>/withdraw/", tariff_pages.withdraw, name="withdraw_tariff"),
    path("books/tariffs/add-flat/", tariff_pages.add_flat, name="add_flat_tariff"),
    path("books/tariffs/add-by-hours/", tariff_pages.add_by_hours, name="add_tariff_by_hours"),
    path("books/policy/", billing_policy.policy, name="policy"),
]
