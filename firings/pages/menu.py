"""What `firings` adds to the menus, the home page and the words for states."""

from firings.models import BookingState, FiringState, KilnState
from firings.pages.menu_for_crew import register_crew_menu
from firings.pages.menu_for_managers import register_manager_menu
from firings.pages.menu_for_members import register_member_menu
from firings.pages.trail_subjects import register_trail_subjects
from studio.pages.words import register_words

BOOKING_TONES = {
    BookingState.WAITING: "wait",
    BookingState.PLACED: "work",
    BookingState.FIRED: "hot",
    BookingState.READY: "good",
    BookingState.COLLECTED: "off",
    BookingState.WITHDRAWN: "off",
    BookingState.DECLINED: "bad",
    BookingState.LOST: "bad",
}
FIRING_TONES = {
    FiringState.PLANNED: "wait",
    FiringState.OPEN: "work",
    FiringState.LOADING: "work",
    FiringState.FIRING: "hot",
    FiringState.COOLING: "cool",
    FiringState.COOLED: "cool",
    FiringState.OPENED: "work",
    FiringState.CLOSED: "off",
    FiringState.CANCELLED: "off",
    FiringState.ABORTED: "bad",
}
KILN_TONES = {
    KilnState.IN_SERVICE: "good",
    KilnState.FIRST_FIRING_DUE: "wait",
    KilnState.OUT_OF_SERVICE: "bad",
}


def register_firing_pages() -> None:
    tones = {"booking": BOOKING_TONES, "firing": FIRING_TONES, "kiln": KILN_TONES}
    for kind, tone_of in tones.items():
        register_words(kind, {state.value: (state.label, tone_of[state]) for state in tone_of})
    register_member_menu()
    register_crew_menu()
    register_manager_menu()
    register_trail_subjects()
