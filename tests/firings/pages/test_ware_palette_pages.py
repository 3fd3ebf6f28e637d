"""The palette of clays, glazes and sizes, and the firing rules, as a manager edits them."""

from __future__ import annotations

import re
from html import unescape
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from firings.models import Clay, FiringPolicy, Glaze, PieceSize
from firings.pages.policy_forms import SOURCES
from studio.models import Studio
from tests import scene

pytestmark = pytest.mark.django_db


@pytest.fixture
def manager() -> Client:
    client = Client()
    client.force_login(scene.manager())
    return client


def words(answer: Any) -> str:
    text = re.sub(r"<[^>]*>", " ", answer.content.decode())
    return " ".join(unescape(text).split())


CLAY = {
    "name": "Buff",
    "cone_low": "5",
    "cone_high": "7",
    "bisque_cone_low": "08",
    "bisque_cone_high": "04",
    "is_offered": "on",
}


def test_a_clay_is_added_and_edited(manager):
    assert manager.post(reverse("firings:new_clay"), CLAY).status_code == 303
    clay = Clay.objects.get()
    shown = words(manager.get(reverse("firings:palette")))
    assert "cone 08 to 04" in shown
    path = reverse("firings:clay", args=[clay.pk])
    manager.post(path, {**CLAY, "cone_high": "6", "is_offered": ""})
    clay.refresh_from_db()
    assert (clay.cone_high, clay.is_offered) == ("6", False)
    assert manager.get(reverse("firings:clay", args=[999_999])).status_code == 404


@pytest.mark.parametrize(
    ("fields", "status", "told"),
    [
        ({"cone_low": "10", "cone_high": "6"}, 409, "is hotter than cone 6"),
        ({"cone_low": "66"}, 422, "not one of the available choices"),
        ({"name": ""}, 422, "required"),
    ],
)
def test_a_cone_range_that_cannot_be_is_refused(manager, fields, status, told):
    glaze = {"name": "Rain", "cone_low": "5", "cone_high": "6", "is_offered": "on"}
    answer = manager.post(reverse("firings:new_glaze"), {**glaze, **fields})
    assert (answer.status_code, told in words(answer)) == (status, True)
    assert not Glaze.objects.exists()
    assert manager.post(reverse("firings:new_glaze"), glaze).status_code == 303
    twice = manager.post(reverse("firings:new_glaze"), glaze)
    assert twice.status_code == 409
    assert "There is a glaze called Rain already." in words(twice)


def test_a_size_is_typed_in_the_readers_units(manager):
    size = {
        "name": "Tray",
        "shape": "rectangle",
        "across_mm": "12",
        "across_mm_unit": "in",
        "depth_mm": "20",
        "depth_mm_unit": "cm",
        "height_mm": "40",
        "height_mm_unit": "mm",
        "position": "3",
        "is_offered": "on",
    }
    path = reverse("firings:new_size")
    for wrong in ({"height_mm": "-4"}, {"height_mm": "9999"}, {"depth_mm": ""},
                  {"across_mm_unit": "ell"}, {"shape": "round"}):  # fmt: skip
        assert manager.post(path, {**size, **wrong}).status_code == 422
    assert manager.post(path, size).status_code == 303
    tray = PieceSize.objects.get()
    # 1 in is 25.4 mm exactly (NIST SP 811, appendix B.8)
    assert (tray.across_mm, tray.depth_mm, tray.height_mm) == (305, 200, 40)


def rules(form: Any, **fields: str) -> dict[str, str]:
    """What the page of the rules would send as it stands, with some fields typed over."""
    sent: dict[str, str] = {}
    for bound in form:
        shown = bound.field.widget.get_context(bound.html_name, bound.value(), {})["widget"]
        if "subwidgets" in shown:
            number, unit = shown["subwidgets"]
            sent |= {number["name"]: number["value"] or "", unit["name"]: unit["value"][0]}
        else:
            sent[bound.html_name] = shown["value"] or ""
    return {**sent, **fields}


def test_rules_are_edited_and_each_default_names_its_source(manager):
    Studio.objects.update_or_create(pk=1, defaults={"temperature_unit": "F"})
    path = reverse("firings:policy")
    page = manager.get(path)
    shown = words(page)
    for source in SOURCES.values():
        assert source in shown
    typed = rules(
        page.context["form"],
        opening_limit_c="125",
        bisque_cones="04, 06,04",
        glaze_cones="6",
        pick_up_places="Shelf A\r\n\r\nShelf B",
    )
    assert typed["opening_limit_c_unit"] == "F"
    assert manager.post(path, typed).status_code == 303
    policy = FiringPolicy.current()
    # (125 - 32) x 5/9 = 51.67 (NIST SP 811, appendix B.9)
    assert policy.opening_limit_c == pytest.approx(51.67, abs=0.01)
    assert (policy.bisque_cones, policy.pick_up_places) == (["04", "06"], ["Shelf A", "Shelf B"])


@pytest.mark.parametrize(
    ("fields", "status", "told"),
    [
        ({"opening_limit_c": "900"}, 422, "at most"),
        ({"glaze_gap_mm": "0"}, 422, "at least"),
        ({"lowest_post_mm": "0.5"}, 422, "at least 1.3 cm"),
        ({"glaze_cones": "6, 666"}, 409, "There is no cone"),
    ],
)
def test_rules_out_of_bounds_are_refused(manager, fields, status, told):
    path = reverse("firings:policy")
    form = manager.get(path).context["form"]
    answer = manager.post(path, rules(form, **fields))
    assert (answer.status_code, told in words(answer)) == (status, True)
    assert FiringPolicy.current().opening_limit_c == 52
