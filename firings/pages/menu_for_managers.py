"""Menu entries and home panels of the pages for managers."""

from firings.pages.first_steps import firings_first_steps
from firings.pages.kiln_pages import kilns_panel
from studio.models import Role
from studio.pages.first_steps import register_first_steps
from studio.pages.home import register_panel
from studio.pages.nav import NavEntry, register_nav

MENU = (
    NavEntry(
        "Kilns and shelves",
        "firings:kilns",
        roles={Role.CREW, Role.MANAGER, Role.TREASURER},
        section="Kilns",
        order=60,
    ),
    NavEntry(
        "Clays, glazes and sizes",
        "firings:palette",
        roles={Role.CREW, Role.MANAGER},
        section="Kilns",
        order=70,
    ),
    NavEntry("Firing rules", "firings:policy", roles={Role.MANAGER}, section="Studio", order=60),
)


def register_manager_menu() -> None:
    for entry in MENU:
        register_nav(entry)
    register_panel(kilns_panel)
    register_first_steps(firings_first_steps)
