"""What `firings` adds to the menus, the home page and the words for states."""

from firings.pages.menu_for_crew import register_crew_menu
from firings.pages.menu_for_managers import register_manager_menu
from firings.pages.menu_for_members import register_member_menu
from firings.pages.trail_subjects import register_trail_subjects
from studio.pages.words import register_words

BOOKING_WORDS = {
    "waiting": ("Waiting", "wait"),
    "placed": ("In a load", "work"),
    "fired": ("Fired", "hot"),
    "ready": ("Ready to collect", "good"),
    "collected": ("Collected", "off"),
    "withdrawn": ("Withdrawn", "off"),
    "declined": ("Declined", "bad"),
    "lost": ("Lost", "bad"),
}
FIRING_WORDS = {
    "planned": ("Planned", "wait"),
    "open": ("Announced", "work"),
    "loading": ("Loading", "work"),
    "firing": ("Firing", "hot"),
    "cooling": ("Cooling", "cool"),
    "cooled": ("At its opening limit", "cool"),
    "opened": ("Opened", "work"),
    "closed": ("Closed", "off"),
    "cancelled": ("Cancelled", "off"),
    "aborted": ("Aborted", "bad"),
}
KILN_WORDS = {
    "in_service": ("In service", "good"),
    "first_firing_due": ("Empty first firing due", "wait"),
    "out_of_service": ("Out of service", "bad"),
}


def register_firing_pages() -> None:
    register_words("booking", BOOKING_WORDS)
    register_words("firing", FIRING_WORDS)
    register_words("kiln", KILN_WORDS)
    register_member_menu()
    register_crew_menu()
    register_manager_menu()
    register_trail_subjects()
