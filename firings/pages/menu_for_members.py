"""Menu entries and home panels of the pages for members."""

from firings.pages.booking_ware import ware_panel
from studio.pages.home import register_panel
from studio.pages.nav import NavEntry, register_nav


def register_member_menu() -> None:
    register_nav(NavEntry("Book space", "firings:book", roles={"member"}, order=10, quick=True))
    register_nav(NavEntry("My ware", "firings:my_ware", roles={"member"}, order=20, quick=True))
    register_nav(NavEntry("What is coming", "firings:coming", order=30))
    register_panel(ware_panel)
