"""Some forty invented people, who are invited and join like anybody else."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial

from billing.demo.scene import TIME_ZONE, Scene
from studio.actions.accounts import rename_account
from studio.actions.edit_studio import edit_studio, open_first_studio
from studio.actions.invitations import accept_invitation, invite_person
from studio.actions.people import deactivate_person, edit_own_details, set_roles
from studio.models import Person, Role

PASSWORD = "two thumbs in wet clay"  # noqa: S105  # of an invented studio
STUDIO_NAME = "Saltmarsh Clay Commons"


@dataclass(frozen=True)
class Character:
    """One person of the story. `shares_with` is the key of whose account they are charged on."""

    key: str
    name: str
    roles: tuple[Role, ...] = ()
    shares_with: str = ""
    joins_at_share: float = 0.0
    leaves_at_share: float | None = None

    @property
    def email(self) -> str:
        return f"{self.key}@example.org"


CAST = (
    Character("anselm", "Anselm Quarshie", (Role.TREASURER,)),
    Character("tamsin", "Tamsin Oyelaran", (Role.CREW,)),
    Character("kwabena", "Kwabena Lindqvist", (Role.CREW,)),
    Character("yuki", "Yuki Barrowclough", (Role.CREW,)),
    Character("oisin", "Oisín Marchetti", (Role.CREW,)),
    Character("priya", "Priya Holloway"),
    Character("devraj", "Devraj Holloway", shares_with="priya"),
    Character("lucia", "Lucía Benkovic"),
    Character("mats", "Mats Benkovic", shares_with="lucia"),
    Character("noor", "Noor Castellan"),
    Character("ffion", "Ffion Amadi", shares_with="noor"),
    Character("jerome", "Jérôme Tanaka", shares_with="noor"),
    Character("ada", "Adaeze Winterbourne", shares_with="noor"),
    Character("hana", "Hana Petrossian"),
    Character("solveig", "Solveig Nakamura"),
    Character("rafael", "Rafael Okonjo"),
    Character("bronagh", "Bronagh Suleiman"),
    Character("mirela", "Mirela Ashdown"),
    Character("tomasz", "Tomasz Greyeyes"),
    Character("zainab", "Zainab Thorvald"),
    Character("ewan", "Ewan Papadakis"),
    Character("chidi", "Chidi Rosenquist"),
    Character("linh", "Linh Abernathy"),
    Character("marguerite", "Marguerite Ito"),
    Character("samir", "Samir Blackwood"),
    Character("greta", "Greta Mbeki-Lowe"),
    Character("iker", "Iker Vandermeer"),
    Character("paloma", "Paloma Strand"),
    Character("osei", "Osei Fairweather"),
    Character("katya", "Katya Drummond"),
    Character("ravi", "Ravi Ó Cuinn"),
    Character("beatrix", "Beatrix Haddad"),
    Character("joao", "João Silverheels"),
    Character("ines", "Inès Kowalczuk", joins_at_share=0.15),
    Character("dilara", "Dilara Munro", joins_at_share=0.25),
    Character("callum", "Callum Nwosu", joins_at_share=0.35, leaves_at_share=0.8),
    Character("wren", "Wren Takahashi", joins_at_share=0.5),
    Character("farah", "Farah Jansson", joins_at_share=0.62),
    Character("leopold", "Leopold Quispe", joins_at_share=0.75),
)
ACCOUNT_NAMES = {
    "priya": "Holloway household",
    "lucia": "Benkovic household",
    "noor": "Tuesday evening class",
}
CLASS = "noor"
# The people whose ware the story follows; the crew make pots too.
MAKERS = tuple(one.key for one in CAST if one.key != "anselm")


def open_the_studio(scene: Scene) -> None:
    """Day one: the studio opens with its manager, who sets it up and invites the others."""
    at = scene.moment(scene.first_day, "08:00")
    scene.people["marisol"] = open_first_studio(
        at=at,
        studio_name=STUDIO_NAME,
        manager_name="Marisol Achterberg",
        email="marisol@example.org",
        password=PASSWORD,
        time_zone=TIME_ZONE,
        currency="CAD",
    )
    edit_studio(
        by=scene.manager,
        at=at + timedelta(minutes=5),
        address="Old Ropewalk, 3 Tidegate Lane\nMerrow Harbour",
        contact_email="hello@example.org",
        language="en-CA",
        pick_up_days=10,
        reminder_days=7,
    )
    for number, one in enumerate(CAST):
        invited_at = at + timedelta(minutes=10 + 2 * number)
        if one.joins_at_share:
            invited_at = scene.some_time(scene.at_share(one.joins_at_share))
        scene.timeline.plan(invited_at, partial(_invite, scene, one))
    own = (Role.MEMBER, Role.MANAGER)
    scene.timeline.plan(
        scene.moment(scene.first_day, "18:00"),
        lambda at: _set_own_roles(scene, own, at),
    )
    _invite_who_has_not_answered(scene)


def _set_own_roles(scene: Scene, roles: tuple[Role, ...], at: datetime) -> None:
    """Once treasurer and crew are there, the manager hands those roles over."""
    scene.people["marisol"] = set_roles(
        by=scene.manager, at=at, person=scene.manager, roles=list(roles)
    )


def _invite(scene: Scene, one: Character, at: datetime) -> None:
    host = scene.people.get(one.shares_with)
    account = host.account if host else None
    _, secret = invite_person(
        by=scene.manager,
        at=at,
        email=one.email,
        name=one.name,
        roles=[Role.MEMBER, *one.roles],
        account=account,
    )
    is_prompt = bool(one.roles) or one.key in ACCOUNT_NAMES
    wait = timedelta(minutes=1 if is_prompt else scene.dice.randint(20, 900))
    scene.timeline.plan(at + wait, partial(_join, scene, one, secret))


def _join(scene: Scene, one: Character, secret: str, at: datetime) -> None:
    person = accept_invitation(secret=secret, at=at, name=one.name, password=PASSWORD)
    scene.people[one.key] = person
    if one.key in ACCOUNT_NAMES and person.account:
        rename_account(by=scene.manager, at=at, account=person.account, name=ACCOUNT_NAMES[one.key])
    if one.key == "greta":
        edit_own_details(
            by=person, at=at, name=one.name, phone="902 555 0142",
            length_unit="in", temperature_unit="F",
        )  # fmt: skip
    if one.leaves_at_share is not None:
        scene.timeline.plan(
            scene.some_time(scene.at_share(one.leaves_at_share)), _leaving(scene, person)
        )


def _leaving(scene: Scene, person: Person) -> Callable[[datetime], None]:
    def leave(at: datetime) -> None:
        left = deactivate_person(
            by=scene.manager, at=at, person=person, why="Moved to another town."
        )
        scene.people.update({key: left for key, one in scene.people.items() if one == left})

    return leave


def _invite_who_has_not_answered(scene: Scene) -> None:
    """One invitation that ran out, and one that is open now."""
    for name, email, at in (
        ("Thandeka Ruiz", "thandeka@example.org", scene.some_time(scene.at_share(0.2))),
        ("Bo Lachance", "bo@example.org", scene.now - timedelta(days=2, hours=3)),
    ):
        scene.timeline.plan(at, partial(_invite_only, scene, name, email))


def _invite_only(scene: Scene, name: str, email: str, at: datetime) -> None:
    invite_person(by=scene.manager, at=at, email=email, name=name, roles=[Role.MEMBER])


def sign_ins() -> str:
    """What the terminal shows: an address for each role, and the one password."""
    rows = (
        ("member", "hana@example.org"),
        ("member of a household", "priya@example.org"),
        ("kiln crew", "tamsin@example.org"),
        ("studio manager", "marisol@example.org"),
        ("treasurer", "anselm@example.org"),
    )
    lines = [f"  {role:<22}  {email}" for role, email in rows]
    return "\n".join(["Sign in to the demo as", *lines, f"Password of each: {PASSWORD}", ""])
