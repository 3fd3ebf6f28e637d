"""The manager's pages of kilns: added from a plate, kept, and never said to be safe."""

from __future__ import annotations

import json
import re
from html import unescape
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from firings.models import CareKind, CareTask, Kiln, KilnPart, KilnToken
from studio.actions.tokens import digest_of
from studio.models import Person, Role, Studio
from tests import scene

pytestmark = pytest.mark.django_db

# A small kiln as a plate in inches may say it: 22.5 in high, half-inch and two-inch posts.
TYPED = {
    "thermocouple_type": "S",
    "thermocouple_class": "class 1",
    "name": "Heron",
    "room": "Back room",
    "chamber_shape": "round",
    "chamber_across_mm": "46",
    "chamber_across_mm_unit": "cm",
    "chamber_depth_mm": "",
    "chamber_depth_mm_unit": "cm",
    "chamber_height_mm": "22.5",
    "chamber_height_mm_unit": "in",
    "keep_from_wall_mm": "2.5",
    "keep_from_wall_mm_unit": "cm",
    "rated_power_w": "6",
    "rated_power_w_unit": "kW",
    "supply_v": "240",
    "breaker_a": "40",
    "vent": "none",
    "cone_limit": "10",
    "posts_stacked_at_most": "2",
    "post_width_mm": "3.8",
    "post_width_mm_unit": "cm",
    "witness_every_firings": "4",
    "meter_class_percent": "2",
    "shelf_shape": "round",
    "shelf_across_mm": "15.5",
    "shelf_across_mm_unit": "in",
    "shelf_depth_mm": "",
    "shelf_depth_mm_unit": "cm",
    "shelf_thickness_mm": "1.6",
    "shelf_thickness_mm_unit": "cm",
    "shelf_count": "4",
    "rows-TOTAL_FORMS": "3",
    "rows-INITIAL_FORMS": "0",
    "rows-0-height_mm": "0.5",
    "rows-0-height_mm_unit": "in",
    "rows-1-height_mm": "2",
    "rows-1-height_mm_unit": "in",
    "rows-2-height_mm": "",
    "rows-2-height_mm_unit": "cm",
}


def client_of(person: Person) -> Client:
    client = Client()
    client.force_login(person)
    return client


@pytest.fixture
def manager() -> Client:
    return client_of(scene.manager())


def page_of(kiln: Kiln) -> str:
    return reverse("firings:kiln", args=[kiln.pk])


def words(answer: Any) -> str:
    """The page's text without tags, in one line."""
    text = re.sub(r"<(script|style).*?</\1>|<[^>]*>", " ", answer.content.decode(), flags=re.S)
    return " ".join(unescape(text).split())


def test_a_kiln_is_added_from_its_plate_in_mixed_units(manager):
    answer = manager.post(reverse("firings:add_kiln"), TYPED)
    kiln = Kiln.objects.get()
    assert (answer.status_code, answer["Location"]) == (303, page_of(kiln))
    # 1 in is 25.4 mm exactly (NIST SP 811, appendix B.8)
    assert kiln.chamber_height_mm == round(22.5 * 25.4)
    assert kiln.post_heights_mm == [13, 51]
    assert kiln.shelf_sets.get().across_mm == round(15.5 * 25.4)
    assert kiln.state == "first_firing_due"
    shown = words(manager.get(page_of(kiln)))
    assert "Empty first firing due" in shown
    # 6000 W / 240 V = 25 A; NEC 210.20(A): 125 % of it is 31.25 A
    assert "25.0 A" in shown
    assert "31.3 A" in shown or "31.2 A" in shown
    assert "licensed electrician" in shown
    assert "is safe" not in shown


@pytest.mark.parametrize(
    ("fields", "status", "told"),
    [
        ({"chamber_height_mm": "-5"}, 422, "cannot be less than zero"),
        ({"chamber_height_mm": "9000"}, 422, "at most"),
        ({"chamber_height_mm_unit": "furlong"}, 422, "Choose the unit"),
        ({"chamber_height_mm": "tall"}, 422, "plain number"),
        ({"chamber_shape": "rectangle"}, 422, "needs its depth"),
        ({"chamber_depth_mm": "40"}, 422, "Only a rectangle has a depth"),
        ({"rated_power_w": "0"}, 422, "at least"),
        ({"supply_v": "0"}, 422, "greater than or equal to 100"),
        ({"breaker_a": "-40"}, 422, "greater than or equal to 5"),
        ({"cone_limit": "99"}, 422, "not one of the available choices"),
        ({"rows-0-height_mm": "", "rows-1-height_mm": ""}, 409, "at least one"),
        ({"rows-0-height_mm": "-1"}, 422, "cannot be less than zero"),
        ({"shelf_across_mm": "20"}, 409, "does not go into a chamber"),
        ({"shelf_count": "0"}, 422, "whole number from 1 to 50"),
    ],
)
def test_a_kiln_that_cannot_be_is_told_why_and_kept_in_the_form(manager, fields, status, told):
    answer = manager.post(reverse("firings:add_kiln"), {**TYPED, **fields})
    assert answer.status_code == status
    assert told in words(answer)
    assert 'value="Back room"' in answer.content.decode()
    assert not Kiln.objects.exists()


def test_a_kiln_is_edited_in_inches(manager):
    kiln = scene.kiln()
    Studio.objects.update_or_create(pk=1, defaults={"length_unit": "in"})
    path = reverse("firings:edit_kiln", args=[kiln.pk])
    form = manager.get(path).content.decode()
    assert 'value="18.11"' in form  # 460 mm / 25.4
    posts = {"rows-TOTAL_FORMS": "7", "rows-INITIAL_FORMS": "7"}
    for number, height in enumerate(["0.51", "", "2", "3", "4", "5", "12"]):
        posts |= {f"rows-{number}-height_mm": height, f"rows-{number}-height_mm_unit": "in"}
    answer = manager.post(path, {**TYPED, **posts, "name": "Wren"})
    assert answer.status_code == 303
    kiln.refresh_from_db()
    # what was left as it was stays, what was emptied goes; 12 in are 304.8 mm
    assert (kiln.name, kiln.post_heights_mm) == ("Wren", [13, 51, 76, 102, 127, 305])
    assert kiln.shelf_sets.get().across_mm == 394


def test_a_breaker_below_the_continuous_load_is_shown(manager):
    kiln = scene.kiln(breaker_a=30)  # 125 % of 25 A is more than 30 A
    assert "below 125 % of the current" in words(manager.get(page_of(kiln)))
    kiln.breaker_a = 40
    kiln.save()
    assert "below 125 % of the current" not in words(manager.get(page_of(kiln)))


def test_shelves_are_changed(manager):
    kiln = scene.kiln()
    shelves = {key: value for key, value in TYPED.items() if key.startswith("shelf_")}
    path = reverse("firings:kiln_shelves", args=[kiln.pk])
    assert 'value="39.4"' in manager.get(path).content.decode()
    answer = manager.post(path, {**shelves, "shelf_shape": "half_round", "shelf_count": "8"})
    assert answer.status_code == 303
    assert str(kiln.shelf_sets.get(is_standard=True)) == "8 × half-round 394 mm"


def test_out_of_service_and_back(manager):
    kiln = scene.kiln()
    out, back = (reverse(f"firings:{name}", args=[kiln.pk]) for name in ("kiln_out", "kiln_return"))
    assert manager.post(out, {"reason": " "}).status_code == 422
    assert manager.post(out, {"reason": "A relay sticks."}).status_code == 303
    shown = words(manager.get(page_of(kiln)))
    assert "Out of service" in shown
    assert "A relay sticks." in shown
    without = manager.post(back, {"reason": ""})
    assert (without.status_code, "say why" in words(without)) == (409, True)
    assert manager.post(back, {"needs_first_firing": "on"}).status_code == 303
    kiln.refresh_from_db()
    assert kiln.state == "first_firing_due"


def test_care_is_done_but_a_first_firing_is_fired(manager):
    kiln = scene.kiln()
    due = timezone.now()
    vacuum = CareTask.objects.create(kiln=kiln, kind=CareKind.VACUUM, due_since=due)
    first = CareTask.objects.create(kiln=kiln, kind=CareKind.FIRST_FIRING, due_since=due)
    answers = []
    for task in (vacuum, first):
        path = reverse("firings:finish_care", args=[task.pk])
        answers.append(manager.post(path, {"came_from": "kiln"}))
        task.refresh_from_db()
    assert answers[0].headers["Location"] == page_of(kiln)
    assert vacuum.done_at is not None
    assert first.done_at is None
    assert "Done by firing the kiln empty" in words(manager.get(page_of(kiln)))


def test_parts_are_added_and_replaced(manager):
    kiln = scene.kiln()
    path = reverse("firings:add_part", args=[kiln.pk])
    part = {
        "kind": "element",
        "name": "Six elements",
        "replacement_cost_minor": "600.50",
        "life_unit": "weighted_hours",
        "expected_life": "900",
        "fitted_on": timezone.localdate().isoformat(),
    }
    for wrong in ({"replacement_cost_minor": "-1"}, {"replacement_cost_minor": "1.005"},
                  {"expected_life": "0"}, {"fitted_on": "soon"}):  # fmt: skip
        assert manager.post(path, {**part, **wrong}).status_code == 422
    assert manager.post(path, {**part, "fitted_on": "2999-01-01"}).status_code == 409
    assert manager.post(path, part).status_code == 303
    fitted = KilnPart.objects.get()
    assert fitted.replacement_cost_minor == 60_050
    assert "$600.50" in words(manager.get(page_of(kiln)))
    replace = reverse("firings:replace_part", args=[fitted.pk])
    assert "fire empty first" in words(manager.get(replace))
    assert "600.50" in manager.get(replace).content.decode()
    assert manager.post(replace, {"reason": "No cost."}).status_code == 422
    burnt = {"reason": "Burnt out.", "cost_minor": "612.00"}
    assert manager.post(replace, burnt).status_code == 303
    assert manager.post(replace, burnt).status_code == 409
    assert KilnPart.objects.get(retired_on=None).replacement_cost_minor == 61_200
    assert KilnPart.objects.filter(retired_on=None).count() == 1


def test_a_key_is_shown_once_with_an_example_that_works(manager):
    kiln, crew = scene.kiln(), scene.crew()
    now = timezone.now()
    scene.booking(scene.person("Mia"), at=now)
    scene.started(crew, scene.loading(crew, kiln, at=now), at=now)
    made = manager.post(reverse("firings:new_kiln_key", args=[kiln.pk]), {"name": "Shelf logger"})
    assert (made.status_code, "no-store" in made["Cache-Control"]) == (200, True)
    secret, example = made.context["secret"], made.context["example"]
    token = KilnToken.objects.get()
    assert token.digest == digest_of(secret)
    assert secret not in manager.get(page_of(kiln)).content.decode()

    url = re.search(r"https?://[^/]+(\S+)", example)
    body = re.search(r"-d '(.*)'", example)
    assert url
    assert body
    posted = Client().post(
        url[1],
        json.loads(body[1]),
        content_type="application/json",
        headers={"Authorization": f"Bearer {secret}"},
    )
    assert (posted.status_code, posted.json()["stored"]) == (200, 1)
    revoke = reverse("firings:revoke_kiln_key", args=[token.pk])
    assert manager.get(revoke).status_code == 405
    assert manager.post(revoke).status_code == 303
    refused = Client().post(
        url[1], body[1], content_type="application/json",
        headers={"Authorization": f"Bearer {secret}"},
    )  # fmt: skip
    assert refused.status_code == 401


def test_who_may_open_which_page():
    kiln = scene.kiln()
    everybody = {
        "anonymous": Client(),
        "member": client_of(scene.person("Mia")),
        "crew": client_of(scene.crew()),
        "treasurer": client_of(scene.treasurer()),
        "manager": client_of(Person.objects.get(name="Marta")),
    }
    expected = {
        "kilns": (302, 403, 200, 200, 200),
        "kiln": (302, 403, 200, 200, 200),
        "add_kiln": (302, 403, 403, 403, 200),
        "edit_kiln": (302, 403, 403, 403, 200),
        "kiln_shelves": (302, 403, 200, 403, 200),
        "kiln_out": (302, 403, 200, 403, 200),
        "kiln_return": (302, 403, 403, 403, 200),
        "add_part": (302, 403, 403, 200, 200),
        "new_kiln_key": (302, 403, 403, 403, 200),
        "palette": (302, 403, 200, 403, 200),
        "new_clay": (302, 403, 403, 403, 200),
        "new_glaze": (302, 403, 403, 403, 200),
        "new_size": (302, 403, 403, 403, 200),
        "policy": (302, 403, 403, 403, 200),
    }
    of_a_kiln = {name for name in expected if "kiln" in name or name == "add_part"}
    for name, statuses in expected.items():
        arguments = [kiln.pk] if name in of_a_kiln - {"kilns", "add_kiln"} else []
        path = reverse(f"firings:{name}", args=arguments)
        found = tuple(client.get(path).status_code for client in everybody.values())
        assert (name, found) == (name, statuses)
    assert everybody["manager"].get("/kilns/999999/").status_code == 404


def test_what_may_not_be_done_has_no_button():
    kiln = scene.kiln()
    path = page_of(kiln)
    crew, treasurer = client_of(scene.crew()), client_of(scene.treasurer())
    shown = words(crew.get(path))
    assert "Take it out of service" in shown
    assert "Make a key" not in shown
    assert "Edit the kiln" not in shown
    shown = words(treasurer.get(path))
    assert "Add a part" in shown
    assert "Take it out of service" not in shown


def test_lists_ask_as_often_for_three_kilns_as_for_one(manager):
    paths = (reverse("firings:kilns"), "/")
    counts: list[list[int]] = []
    scene.kiln()
    manager.get("/")  # makes the rows of the studio's settings, once
    for extra in (["Wren", "Teal"], []):
        row = []
        for path in paths:
            with CaptureQueriesContext(connection) as asked:
                assert manager.get(path).status_code == 200
            row.append(len(asked))
        counts.append(row)
        for name in extra:
            scene.kiln(name=name)
    assert counts[0] == counts[1]
    assert Person.objects.holding(Role.MANAGER).count() == 1


def test_a_managers_home_page_shows_what_is_in_the_kilns(manager):
    assert "Kilns in use" in words(manager.get("/"))
