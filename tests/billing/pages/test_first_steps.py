"""What a new studio is told to set up, by all three apps, until it is done."""

from __future__ import annotations

import pytest
from django.test import Client

from billing.models import BillingPolicy
from firings.models import Clay, FiringPolicy, Glaze, PieceSize
from studio.models import Role, Studio
from tests.billing.conftest import Books
from tests.billing.faces_scene import signed_in, text_of
from tests.billing.scene import make_person, make_studio

LABELS = (
    "Write down whom to ask",
    "Add a kiln with its shelves",
    "Note what wears out in the kiln",
    "Name the cones you fire to, and the pick-up shelves",
    "List clays, glazes and usual sizes",
    "Add the electricity tariff",
    "Decide what a firing costs besides, and how members pay",
    "Invite crew, a treasurer and members",
)


@pytest.mark.django_db
def test_first_manager_is_told_what_to_set_up_in_order() -> None:
    make_studio()
    Studio.objects.update(contact_email="")
    page = text_of(signed_in(make_person("Mara Dunn", Role.MANAGER)).get("/"))
    places = [page.index(f">{label}</a>") for label in LABELS]
    assert places == sorted(places)
    assert page.count("To do") == len(LABELS)
    assert "8 things left" in page


def test_list_shrinks_and_goes_when_all_is_done(books: Books, mara: Client) -> None:
    assert "Set up the studio" in text_of(mara.get("/"))
    Studio.objects.update(contact_email="hello@example.org")
    cones = {"bisque_cones": ["04"], "glaze_cones": ["6"], "pick_up_places": ["Low shelf"]}
    FiringPolicy.current()
    FiringPolicy.objects.update(**cones)
    BillingPolicy.objects.update(how_to_pay="Cash at the desk.")
    Clay.objects.create(
        name="Buff", bisque_cone_low="08", bisque_cone_high="04", cone_low="5", cone_high="6"
    )
    Glaze.objects.create(name="Celadon", cone_low="5", cone_high="6")
    assert "1 thing left" in text_of(mara.get("/"))
    PieceSize.objects.create(name="Mug", shape="round", across_mm=90, height_mm=100)
    assert "Set up the studio" not in text_of(mara.get("/"))


def test_members_are_told_nothing_of_it(books: Books, ada: Client) -> None:
    assert "Set up the studio" not in text_of(ada.get("/"))
