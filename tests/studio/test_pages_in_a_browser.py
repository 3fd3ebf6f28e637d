"""The pages anyone may see, in a real Chromium under our content policy."""

import pytest
from axe_playwright_python.sync_playwright import Axe

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def complaints(page) -> list[str]:
    """What the browser refuses or reports while the test runs."""
    found: list[str] = []
    page.on("console", lambda line: found.append(line.text) if line.type == "error" else None)
    page.on("pageerror", lambda fault: found.append(str(fault)))
    page.on("requestfailed", lambda request: found.append(request.url))
    return found


def test_the_sign_in_page_is_quiet_and_accessible(page, live_server, complaints):
    page.goto(f"{live_server.url}/entry/login/")
    assert page.get_by_label("Password").is_visible()
    report = Axe().run(page)
    assert [one["id"] for one in report.response["violations"]] == []
    assert complaints == []


def test_the_api_page_loads_nothing_from_elsewhere(page, live_server, complaints):
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(f"{live_server.url}/api/v1/")
    page.get_by_role("heading", name="Wareboard").wait_for()
    # Swagger's own page draws some icons from data: addresses.
    elsewhere = [url for url in asked if not url.startswith((live_server.url, "data:"))]
    assert elsewhere == []
    assert complaints == []
