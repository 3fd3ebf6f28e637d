"""What a new studio sets up first: a list on the manager's home page until all of it is done.

Each app registers its own steps; a step is asked anew at each visit and never stored.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from django.http import HttpRequest

from studio.models import Invitation, Person, Role, Studio
from studio.pages.home import Panel

FIRST_OF_ALL = 5


@dataclass(frozen=True)
class FirstStep:
    """A thing to set up: what to do, why, the name of its page, and whether it is done.

    Steps stand in the order of `order`: the studio below 100, kilns and ware from 100, the books
    from 200, people from 300.
    """

    label: str
    why: str
    page: str
    is_done: bool
    order: int


StepMaker = Callable[[], Iterable[FirstStep]]

_makers: list[StepMaker] = []


def register_first_steps(maker: StepMaker) -> None:
    if maker not in _makers:
        _makers.append(maker)


def first_steps_panel(request: HttpRequest) -> Panel | None:
    """For managers, as long as anything is left to set up."""
    if not request.user.has_role(Role.MANAGER):
        return None
    steps = sorted((step for maker in _makers for step in maker()), key=lambda step: step.order)
    left = [step for step in steps if not step.is_done]
    if not left:
        return None
    context = {"steps": steps, "left_count": len(left), "next_step": left[0]}
    return Panel("studio/panels/first_steps.html", context, order=FIRST_OF_ALL)


def studio_first_steps() -> Iterable[FirstStep]:
    yield FirstStep(
        "Write down whom to ask",
        "An address for questions stands under each page and each letter.",
        "studio:settings",
        bool(Studio.current().contact_email),
        10,
    )
    yield FirstStep(
        "Invite crew, a treasurer and members",
        "Each gets a letter with a link that works once.",
        "studio:people",
        Person.objects.count() > 1 or Invitation.objects.exists(),
        300,
    )
