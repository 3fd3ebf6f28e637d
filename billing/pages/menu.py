"""What `billing` adds to the menus, the home page and the words for states."""

from billing.pages import more_about_money
from billing.pages.first_steps import billing_first_steps
from billing.pages.my_account import account_panel
from billing.pages.this_month import treasurer_panel
from billing.pages.trail_subjects import register_trail_subjects
from studio.models import Role
from studio.pages.first_steps import register_first_steps
from studio.pages.home import register_panel
from studio.pages.more_about import register_more
from studio.pages.nav import NavEntry, register_nav
from studio.pages.words import register_words

KEEPERS = {Role.TREASURER, Role.MANAGER}
BOOKS = (
    NavEntry("This month", "billing:this_month", {Role.TREASURER}, "Books", 10, quick=True),
    NavEntry("Balances", "billing:balances", KEEPERS, "Books", 20),
    NavEntry("Payments", "billing:payments", {Role.TREASURER}, "Books", 30),
    NavEntry("From the bank", "billing:bank_lines", {Role.TREASURER}, "Books", 35),
    NavEntry("Firing costs", "billing:costs", KEEPERS, "Books", 40),
    NavEntry("Months and statements", "billing:months", {Role.TREASURER}, "Books", 50),
    NavEntry("Journal", "billing:journal", {Role.TREASURER}, "Books", 60),
    NavEntry("Trial balance", "billing:trial_balance", {Role.TREASURER}, "Books", 70),
    NavEntry("Export", "billing:journal_export", {Role.TREASURER}, "Books", 75),
    NavEntry("Electricity bills", "billing:electricity", KEEPERS, "Books", 78),
    NavEntry("Wear reserves", "billing:reserves", KEEPERS, "Books", 78),
    NavEntry("Tariffs", "billing:tariffs", KEEPERS, "Books", 80),
    NavEntry("Memberships", "billing:memberships", KEEPERS, "Books", 84),
    NavEntry("Consumables", "billing:consumables", KEEPERS, "Books", 86),
    NavEntry("Billing policy", "billing:policy", KEEPERS, "Books", 90),
)
WORDS = {
    "payment": {
        "received": ("Received", "good"),
        "paid_back": ("Paid back", "work"),
        "reversed": ("Reversed", "bad"),
    },
    "bank_line": {
        "proposed": ("Waits", "wait"),
        "taken": ("Taken as a payment", "good"),
        "set_aside": ("Set aside", "off"),
        "reversed": ("Payment taken back", "bad"),
    },
    "cost": {"posted": ("Posted", "good"), "reversed": ("Reversed", "bad")},
    "utility_bill": {"reversed": ("Taken back", "bad")},
    "month": {
        "running": ("Not over yet", "wait"),
        "next": ("Next to close", "work"),
        "open": ("Open", "wait"),
        "closed": ("Closed", "good"),
    },
}


def register_billing_pages() -> None:
    register_nav(NavEntry("My account", "billing:my_account", order=40, quick=True))
    for entry in BOOKS:
        register_nav(entry)
    for kind, states in WORDS.items():
        register_words(kind, states)
    register_panel(account_panel)
    register_panel(treasurer_panel)
    register_first_steps(billing_first_steps)
    register_trail_subjects()
    register_more("booking", more_about_money.booking_panel)
    register_more("firing", more_about_money.firing_panel)
    register_more("account", more_about_money.account_panel)
