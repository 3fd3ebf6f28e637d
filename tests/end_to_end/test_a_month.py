"""A whole month over HTTP only: join, book, load, fire, cool, notify, collect, close, pay.

Four people know the studio by its address alone: they follow links, send forms and read the
letters that a worker in a process of its own delivers. Every cent is compared with a calculation
by hand, written out below.

By hand. One bisque firing in March:
    electricity   24.6 kWh by the meter (1,024.6 - 1,000.0) x 0.30     7.38
    elements      480.00 over 120 firings                              4.00
    thermocouple   50.00 over 200 firings                              0.25
    cones, wash   by the studio's policy                               1.50
    pool                                                              13.13
Bisque may touch, so ware is charged its bare footprint, in whole mm2:
    Ines, four mugs of 9 cm:    4 x pi 45 mm^2 = 4 x 6,362 =          25,448
    Otto, a tile of 20 x 15 cm: 200 mm x 150 mm =                     30,000
    together                                                          55,448
    Ines  13.13 x 25,448 / 55,448 = 6.0260...  floor 6.02
    Otto  13.13 x 30,000 / 55,448 = 7.1039...  floor 7.10
    one cent is left; the larger remainder (0.60 against 0.39 of a cent) takes it: Ines 6.03.
"""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from urllib.parse import urlsplit

import pytest
import time_machine

from studio.actions.edit_studio import open_first_studio
from studio.celery import app
from studio.environment import ROOT
from tests.conftest import stop
from tests.end_to_end.visitor import Visitor
from tests.waiting import until

MONDAY = datetime(2026, 3, 9, 9, tzinfo=UTC)  # 10:00 in Berlin, before the clocks change
TUESDAY = datetime(2026, 3, 10, 16, tzinfo=UTC)
APRIL = datetime(2026, 4, 1, 8, tzinfo=UTC)
PASSWORD = "four damp boards of bowls"


@contextmanager
def worker_at(moment: datetime, environment: dict[str, str]) -> Iterator[None]:
    """A worker and the web server, both living from `moment` on."""
    command = [sys.executable, "-m", "tests.end_to_end.shifted_worker", moment.isoformat()]
    worker = subprocess.Popen(command, cwd=ROOT, env=environment, start_new_session=True)
    try:
        until(lambda: app.control.ping(timeout=0.2), within_s=30)
        with time_machine.travel(moment, tick=True):
            yield
    finally:
        stop(worker)


def signed_in(address: str, email: str) -> Visitor:
    visitor = Visitor(address).go("/entry/login/")
    return visitor.send("Sign in", login=email, password=PASSWORD)


def letter(reader: Visitor, words: str, to: str = "") -> Visitor:
    """Wait until a letter whose subject has `words` is in the mailbox, and open it."""

    def arrived() -> list[str]:
        page = reader.go("/mail/").page
        assert page is not None
        rows = [row for row in page.iter("tr") if to in row.text_content()]
        links = [link for row in rows for link in row.iter("a")]
        return [link.get("href") for link in links if words in link.text_content()]

    until(arrived, within_s=20)
    return reader.go(arrived()[0])


def link_in(letter_page: Visitor, part: str) -> str:
    """The path of the link in a letter; its host is the public one, not the test server's."""
    assert letter_page.page is not None
    words = [a.get("href") or "" for a in letter_page.page.iter("a")] + letter_page.text.split()
    return urlsplit(next(word for word in words if part in word)).path


@pytest.fixture
def manager(live_server, transactional_db) -> Visitor:
    """The studio's first manager, made by the command that a real studio starts with."""
    open_first_studio(
        at=MONDAY - timedelta(days=1),
        studio_name="Saltmarsh Pottery Commons",
        manager_name="Marta",
        email="marta@example.org",
        password=PASSWORD,
        time_zone="Europe/Berlin",
        currency="EUR",
    )
    return Visitor(live_server.url)


def test_a_month_from_the_first_invitation_to_the_last_cent(
    manager, live_server, worker_environment, tmp_path
):
    address = live_server.url
    with worker_at(MONDAY, worker_environment):
        manager = signed_in(address, "marta@example.org")
        set_up_studio(manager)
        ines, otto, cosmo, tove = (
            joined(address, manager, name, roles)
            for name, roles in (
                ("Ines", ["member"]),
                ("Otto", ["member"]),
                ("Cosmo", ["crew", "member"]),
                ("Tove", ["treasurer"]),
            )
        )
        set_up_books(tove)
        slips = booked(ines, otto)
        firing = loaded_and_started(cosmo)
    with worker_at(TUESDAY, worker_environment):
        cooled(cosmo, firing, tmp_path)
        opened_and_unloaded(cosmo, firing, slips)
        collected(ines, cosmo, slips)
    with worker_at(APRIL, worker_environment):
        closed_and_paid(address)


def set_up_studio(manager: Visitor) -> None:
    """A kiln with its shelves and parts, a clay, a size, and where ware is picked up."""
    manager.go("/kilns/new/").send(
        "Add the kiln",
        name="Heron",
        chamber_shape="round",
        chamber_across_mm="46",
        chamber_height_mm="57",
        rated_power_w="6",
        breaker_a="40",
        cone_limit="10",
        shelf_shape="round",
        shelf_across_mm="39.4",
        shelf_count="4",
        rows__0__height_mm="1.3",
        rows__1__height_mm="5.1",
        rows__2__height_mm="10.2",
        rows__3__height_mm="15.2",
    )
    kiln = manager.url
    for kind, name, cost, life in (
        ("element", "Set of elements", "480.00", "120"),
        ("thermocouple", "Thermocouple", "50.00", "200"),
    ):
        manager.go(kiln).follow("Add a part").send(
            "Add",
            kind=kind,
            name=name,
            replacement_cost_minor=cost,
            life_unit="firings",
            expected_life=life,
            fitted_on="2026-01-15",
        )
    # It was fired empty before the studio kept its records here, and the manager says so.
    manager.go(kiln).follow("out of service").send("Take it out", reason="moving its records")
    manager.go(kiln).follow("Return").send(
        "Return", needs_first_firing=[], reason="fired empty to cone 04 on 2 March, cone down"
    )
    manager.go("/palette/clays/new/").send(
        "Save",
        name="Buff stoneware",
        bisque_cone_low="08",
        bisque_cone_high="04",
        cone_low="5",
        cone_high="7",
    )
    mug = {"shape": "round", "across_mm": "9", "height_mm": "10"}
    manager.go("/palette/sizes/new/").send("Save", name="Mug", **mug)
    manager.go("/firing-rules/").send(
        "Save", bisque_cones="04", glaze_cones="6", pick_up_places="Shelf B"
    )


def joined(address: str, manager: Visitor, name: str, roles: list[str]) -> Visitor:
    """Invited by the manager; the link comes by e-mail, read here in the demo's mailbox."""
    email = f"{name.lower()}@example.org"
    manager.go("/people/invite/").send("Send the invitation", name=name, email=email, roles=roles)
    invitation = letter(manager, "", to=email)
    guest = Visitor(address).go(link_in(invitation, "/join/"))
    guest.send("Join", name=name, password=PASSWORD, password_again=PASSWORD)
    again = Visitor(address).go(link_in(invitation, "/join/"), status=410)
    assert "This invitation has been used" in again.text
    return signed_in(address, email)


def set_up_books(tove: Visitor) -> None:
    tove.go("/books/tariffs/add-flat/").send(
        "Add it", name="Town power", valid_from="2026-03-01", price_per_kwh="0.30"
    )
    tove.go("/books/policy/").send("Save", consumables_per_firing_minor="1.50")


def booked(ines: Visitor, otto: Visitor) -> dict[str, str]:
    """Ines books from the palette, Otto types a size; answers their slips."""
    ines.go("/book/?stage=bisque&cone=04")
    assert ines.page is not None
    names = [field.get("name") or "" for field in ines.page.iter("input")]
    mugs = next(name for name in names if name.startswith("pieces-"))
    ines.send("Book", clay=ines.choice("clay", "Buff"), **{mugs: "4"})
    otto.go("/book/?stage=bisque&cone=04").send(
        "Book",
        clay=otto.choice("clay", "Buff"),
        rows__0__name="Tile",
        rows__0__shape="rectangle",
        rows__0__across_mm="20",
        rows__0__depth_mm="15",
        rows__0__height_mm="3",
        rows__0__count="1",
    )
    slips = {"Ines": ines.url.rstrip("/")[-6:], "Otto": otto.url.rstrip("/")[-6:]}
    letter(ines, slips["Ines"])
    return slips


def loaded_and_started(cosmo: Visitor) -> str:
    """Crew see the queue, plan, load, check and start; answers the firing's address."""
    assert "2 slips" in cosmo.go("/queue/").text
    cosmo.go("/queue/bisque/04/").follow("Plan a firing")
    cosmo.send("Plan", planned_for="2026-03-09T11:00")
    firing = cosmo.url
    cosmo.send("Begin loading").go(firing)
    cosmo.send("Fill").go(firing)
    cosmo.follow("Check and start")
    assert cosmo.page is not None
    ticks = [box.get("value") for box in cosmo.page.iter("input") if box.get("name") == "ticked"]
    cosmo.send("the firing starts", ticked=ticks, register_start_wh="1000.0")
    return firing


def cooled(cosmo: Visitor, firing: str, folder: Path) -> None:
    """The logger's file comes in: eight hours up, twenty down; crew are told that it is cool."""
    log = folder / "heron.csv"
    log.write_text(log_lines(), encoding="utf-8")
    cosmo.go(firing).follow("log").send("Look at it", files={"log": log})
    assert "59 lines with readings" in cosmo.text
    cosmo.send("Take the log in")
    told = letter(cosmo, "Heron", to="cosmo@example.org").text
    assert "41 °C" in told
    assert "you decide" in told.lower()


def opened_and_unloaded(cosmo: Visitor, firing: str, slips: dict[str, str]) -> None:
    """Opened at 41 degrees; each slip to its place; closed with the meter."""
    cosmo.go(firing).follow("Measure and open").send("I open it", temp_c="41")
    for slip in slips.values():
        path = urlsplit(firing).path
        cosmo.go(f"{path}unload/{slip}/").send("It is on the shelf", place="Shelf B")
    cosmo.go(f"{firing}close/").send(
        "Close it", result="reached", reached_cone="04", register_end_wh="1024.6"
    )


def collected(ines: Visitor, cosmo: Visitor, slips: dict[str, str]) -> None:
    """Ines taps that she has her mugs; crew hand Otto's tile out."""
    told = letter(ines, "Ready to collect: 4 pieces").text
    assert "Shelf B" in told
    assert "24" in told  # picked up within 14 days: by 24 March
    ines.go(f"/ware/{slips['Ines']}/").send("collected")
    cosmo.go(f"/pick-up/?slip={slips['Otto'].lower()}").send("It is collected")
    for visitor, name in ((ines, "Ines"), (cosmo, "Otto")):
        assert "Collected" in visitor.go(f"/ware/{slips[name]}/").text


def closed_and_paid(address: str) -> None:
    """The treasurer closes March; the statements say what was reckoned by hand; both pay."""
    tove, ines, otto = (
        signed_in(address, f"{name}@example.org") for name in ("tove", "ines", "otto")
    )
    assert "€13.13" in tove.go("/books/months/2026-03/").text
    tove.go("/books/months/2026-03/close/").send("Close the month")
    assert "is closed already" in tove.go("/books/months/2026-03/close/").text
    for member, owed in ((ines, "€6.03"), (otto, "€7.10")):
        told = letter(member, "Statement")
        assert f"{owed} to pay" in told.text
        statement = link_in(told, "/statements/")
        said = member.go(statement).text
        for figure in ("24.6 kWh", "€7.38", "€4.00", "€0.25", "€1.50", "€13.13", owed):
            assert figure in said, f"{figure} is not on the statement: {said}"
        assert f"Closing balance{owed}" in said
        assert member.go(f"{statement}pdf/").content.startswith(b"%PDF-")
        stranger = otto if member is ines else ines
        stranger.go(statement, status=404)
    paid(tove, "Ines", "6.03")
    paid(tove, "Otto", "7.00")
    assert "€0.00" in ines.go("/account/").text
    assert "€0.10" in otto.go("/account/").text
    books = books_of(tove.go("/books/trial-balance/"))
    assert {name: amounts for name, amounts in books.items() if amounts != ("", "")} == {
        "Bank": ("€13.03", ""),
        "Receivable of Otto": ("€0.10", ""),
        "Wear reserve of Heron": ("", "€4.25"),
        "Firing electricity recovered": ("", "€7.38"),
        "Consumables and handling": ("", "€1.50"),
        "Together": ("€13.13", "€13.13"),
    }


def paid(tove: Visitor, name: str, amount: str) -> None:
    tove.go("/books/payments/record/")
    tove.send(
        "Record it",
        account=tove.choice("account", name),
        received_on="2026-04-01",
        amount_minor=amount,
        method="bank",
        reference=f"March {name}",
    )


def books_of(trial_balance: Visitor) -> dict[str, tuple[str, str]]:
    """The trial balance as it is shown: account without its code -> (debit, credit)."""
    assert trial_balance.page is not None
    table = next(trial_balance.page.iter("table"))
    rows = [[cell.text_content().strip() for cell in row] for row in table.iter("tr")]
    return {cells[0].lstrip("0123456789. "): (cells[-2], cells[-1]) for cells in rows[1:]}


def log_lines() -> str:
    """Semicolons, decimal commas and local time, as many loggers write."""
    start = datetime(2026, 3, 9, 10, 30)  # noqa: DTZ001  local time without a zone, as in the file
    rise = [20 + 1040 * n / 16 for n in range(17)]
    fall = [1060 - 1018 * n / 40 for n in range(1, 41)]
    rows = [
        f"{start + timedelta(minutes=30 * n):%d.%m.%Y %H:%M};" + f"{temp_c:.1f}".replace(".", ",")
        for n, temp_c in enumerate([*rise, *fall, 42, 41])
    ]
    return "\n".join(["Zeit;Temperatur (°C)", *rows])
