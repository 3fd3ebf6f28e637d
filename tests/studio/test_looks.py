"""What the eye and the finger meet: contrast, reflow, targets, and what axe finds."""

from __future__ import annotations

import re

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page
from pytest_django.live_server_helper import LiveServer

from studio.environment import ROOT
from studio.models import Person, Role, RoleHolding

TOKENS = (ROOT / "studio" / "static" / "studio" / "tokens.css").read_text(encoding="utf-8")
INKS = ("ink", "ink-soft", "accent", "accent-strong", "good", "warn", "bad", "hot", "cool")
WASHED = ("good", "warn", "bad", "hot", "cool")
WCAG_AA = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]


def themes() -> dict[str, dict[str, str]]:
    light, dark = TOKENS.split("@media (prefers-color-scheme: dark)")
    pattern = r"--([a-z-]+): (#[0-9a-f]{6});"
    first = dict(re.findall(pattern, light))
    return {"light": first, "dark": {**first, **dict(re.findall(pattern, dark))}}


def luminance(colour: str) -> float:
    """Relative luminance (W3C, WCAG 2.2, definition of relative luminance)."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Contrast ratio (W3C, WCAG 2.2, definition of contrast ratio)."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_contrast_of_black_on_white_is_21() -> None:
    # WCAG 2.2: contrast ratios range from 1 to 21.
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#777777", "#777777") == pytest.approx(1)


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_text_has_contrast(theme: str) -> None:
    """WCAG 2.2, 1.4.3: 4.5 to 1."""
    colours = themes()[theme]
    pairs = [(ink, ground) for ink in INKS for ground in ("paper", "card", "sunk")]
    pairs += [(ink, f"{ink}-wash") for ink in WASHED]
    pairs += [("ink", f"{ink}-wash") for ink in WASHED]
    pairs += [("accent-ink", "accent"), ("accent-ink", "accent-strong"), ("band-ink", "band")]
    faint = {
        pair: round(ratio, 2)
        for pair in pairs
        if (ratio := contrast(colours[pair[0]], colours[pair[1]])) < 4.5
    }
    assert faint == {}


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_edges_and_focus_have_contrast(theme: str) -> None:
    """WCAG 2.2, 1.4.11: 3 to 1 for the edge of a field, a button and the focus ring."""
    colours = themes()[theme]
    for edge in ("edge", "focus"):
        for ground in ("paper", "card"):
            assert contrast(colours[edge], colours[ground]) >= 3, (edge, ground)


@pytest.fixture
def manager(transactional_db: None) -> Person:
    person = Person.objects.create_user("mo@example.org", "grog and slip 12", name="Mo Sample")
    for role in Role:
        RoleHolding.objects.create(person=person, role=role)
    return person


def signed_in_page(browser: Browser, server: LiveServer, width: int, scheme: str) -> Page:
    context = browser.new_context(
        viewport={"width": width, "height": 800},
        color_scheme=scheme,  # type: ignore[arg-type]
    )
    page = context.new_page()
    page.goto(f"{server.url}/entry/login/")
    page.fill("[name=login]", "mo@example.org")
    page.fill("[name=password]", "grog and slip 12")
    page.click("main button[type=submit]")
    return page


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [320, 1280])
def test_style_page_has_no_fault_that_axe_finds(
    browser: Browser, live_server: LiveServer, manager: Person, width: int, scheme: str
) -> None:
    page = signed_in_page(browser, live_server, width, scheme)
    complaints: list[str] = []
    page.on("console", lambda message: complaints.append(message.text))
    page.goto(f"{live_server.url}/style/")
    found = Axe().run(page, options={"runOnly": WCAG_AA})
    wide = page.evaluate("document.documentElement.scrollWidth")
    page.context.close()

    assert found.violations_count == 0, found.generate_report()
    assert wide == width
    assert complaints == []


@pytest.mark.parametrize("path", ["/entry/login/", "/entry/password/reset/", "/nowhere/"])
def test_outer_pages_have_no_fault_that_axe_finds(
    page: Page, live_server: LiveServer, transactional_db: None, path: str
) -> None:
    page.set_viewport_size({"width": 320, "height": 700})
    page.goto(f"{live_server.url}{path}")
    found = Axe().run(page, options={"runOnly": WCAG_AA})

    assert found.violations_count == 0, found.generate_report()
    assert page.evaluate("document.documentElement.scrollWidth") == 320


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_open_menu_has_no_fault_that_axe_finds(
    browser: Browser, live_server: LiveServer, manager: Person, scheme: str
) -> None:
    page = signed_in_page(browser, live_server, 320, scheme)
    page.click("summary")
    found = Axe().run(page, options={"runOnly": WCAG_AA})
    page.context.close()

    assert found.violations_count == 0, found.generate_report()


def test_targets_fit_wet_hands(browser: Browser, live_server: LiveServer, manager: Person) -> None:
    """Our own rule, 44 px; WCAG 2.2, 2.5.8 asks for 24."""
    page = signed_in_page(browser, live_server, 360, "light")
    page.goto(f"{live_server.url}/style/")
    page.click("summary")
    small = page.evaluate(
        """() => [...document.querySelectorAll(
             'main .button, main input:not([type=hidden]):not([type=radio]):not([type=checkbox]),'
             + 'main select, main textarea, .menu-lines a, summary, .field-group label')]
           .filter(e => e.offsetParent && e.getBoundingClientRect().height < 44)
           .map(e => e.outerHTML)"""
    )
    page.context.close()
    assert small == []


def test_rows_and_counts_by_script(
    browser: Browser, live_server: LiveServer, manager: Person
) -> None:
    page = signed_in_page(browser, live_server, 360, "light")
    page.goto(f"{live_server.url}/style/")
    page.click("[data-rows-more]")
    assert page.input_value("[name=rows-TOTAL_FORMS]") == "2"
    page.fill("[name=rows-1-height_mm]", "12.5")
    page.click(".rows-row:last-of-type button[aria-label='More How many']")
    assert page.input_value("[name=rows-1-count]") == "2"
    assert page.inner_text(".rows-list .rows-row:last-child legend") == "Piece 2"
    page.context.close()
