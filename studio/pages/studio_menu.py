"""The studio's own lines of the menu, its panel and its words for states."""

from studio.models import NoticeState, Role
from studio.pages.first_steps import first_steps_panel, register_first_steps, studio_first_steps
from studio.pages.home import register_panel
from studio.pages.nav import NavEntry, register_nav
from studio.pages.notices import failed_notices_panel
from studio.pages.subjects import accounts_by_id, people_by_id, register_subjects
from studio.pages.words import register_words

MENU = (
    NavEntry("My details", "studio:my_details", order=90),
    NavEntry("Mail", "studio:mailbox", order=95),
    NavEntry("People", "studio:people", roles={Role.MANAGER}, section="Studio", order=10),
    NavEntry(
        "Accounts",
        "studio:accounts",
        roles={Role.MANAGER, Role.TREASURER},
        section="Studio",
        order=20,
    ),
    NavEntry("Notices", "studio:notices", roles={Role.MANAGER}, section="Studio", order=70),
    NavEntry("Trail", "studio:trail", roles={Role.MANAGER}, section="Studio", order=80),
    NavEntry(
        "Studio settings", "studio:settings", roles={Role.MANAGER}, section="Studio", order=90
    ),
)


def register_studio_menu() -> None:
    for entry in MENU:
        register_nav(entry)
    register_panel(failed_notices_panel)
    register_panel(first_steps_panel)
    register_first_steps(studio_first_steps)
    register_subjects("person", people_by_id)
    register_subjects("account", accounts_by_id)
    register_words("first_step", {"done": ("Done", "good"), "open": ("To do", "wait")})
    register_words(
        "notice",
        {
            NoticeState.WAITING: ("Waiting", "wait"),
            NoticeState.SENT: ("Sent", "good"),
            NoticeState.DROPPED: ("No longer needed", "off"),
            NoticeState.FAILED: ("Not delivered", "bad"),
        },
    )
    register_words(
        "invitation",
        {
            "open": ("Open", "wait"),
            "accepted": ("Joined", "good"),
            "revoked": ("Taken back", "off"),
            "expired": ("Expired", "off"),
        },
    )
    register_words("person", {"active": ("Active", "good"), "inactive": ("Deactivated", "off")})
