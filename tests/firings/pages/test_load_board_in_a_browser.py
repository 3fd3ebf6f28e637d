"""The load page in a real Chromium: dragged, moved by keys, let go, and read by axe."""

import pytest
from axe_playwright_python.sync_playwright import Axe

from firings.models import Placement
from tests import scene
from tests.firings.pages.crew_scene import make_way

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def way(transactional_db):
    return make_way()


@pytest.fixture
def firing(way):
    firing = scene.loading(way.crew, way.kiln, at=way.now)
    puts = Placement.objects.filter(layer__firing=firing).order_by("piece_id")
    for put, (x_mm, y_mm) in zip(puts, [(-100, 0), (0, 0), (100, 0), (0, -110)], strict=True):
        Placement.objects.filter(pk=put.pk).update(x_mm=x_mm, y_mm=y_mm)
    firing.layers.update(cone_pack=[0.0, 110.0, 0])
    return firing


@pytest.fixture
def complaints(page):
    found = []
    page.on("console", lambda line: found.append(line.text) if line.type == "error" else None)
    page.on("pageerror", lambda fault: found.append(str(fault)))
    return found


@pytest.fixture
def board(page, live_server, way, firing, client, complaints):
    """The load page, signed in as crew, on a tablet."""
    client.force_login(way.crew)
    cookie = client.cookies["sessionid"]
    page.context.add_cookies([{"name": "sessionid", "value": cookie.value, "url": live_server.url}])
    page.set_viewport_size({"width": 1024, "height": 1200})
    page.goto(f"{live_server.url}/firings/{firing.pk}/load/")
    return page


def middle(page, piece):
    box = page.locator(f'a[data-piece="{piece}"] > g path').bounding_box()
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def place(pk):
    put = Placement.objects.get(pk=pk)
    return round(put.x_mm), round(put.y_mm), put.is_locked


@pytest.fixture
def mug(firing):
    """The mug in front."""
    return Placement.objects.filter(layer__firing=firing).order_by("piece_id").last()


def drag(page, piece, right_px, down_px):
    page.locator(f'a[data-piece="{piece}"]').scroll_into_view_if_needed()
    x, y = middle(page, piece)
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + right_px / 2, y + down_px / 2)
    page.mouse.move(x + right_px, y + down_px)


def test_a_piece_is_dragged_and_dropped(board, mug, complaints):
    drag(board, mug.piece_id, 30, 0)
    board.mouse.up()
    board.get_by_text("Moved, and locked there.").wait_for()
    x_mm, y_mm, is_locked = place(mug.pk)
    assert x_mm > 0
    assert abs(y_mm + 110) <= 1
    assert is_locked
    assert complaints == []


def test_escape_lets_go_of_a_dragged_piece(board, mug):
    drag(board, mug.piece_id, 30, 0)
    assert board.locator(f'a[data-piece="{mug.piece_id}"]').get_attribute("transform")
    board.keyboard.press("Escape")
    board.mouse.up()
    assert board.locator(f'a[data-piece="{mug.piece_id}"]').get_attribute("transform") is None
    assert place(mug.pk) == (0, -110, False)


def test_a_piece_dropped_on_another_goes_back_with_the_reason(board, mug):
    drag(board, mug.piece_id, 0, -90)
    board.mouse.up()
    board.get_by_text("Nothing was changed.").wait_for()
    assert place(mug.pk) == (0, -110, False)


def test_arrow_keys_move_the_piece_with_the_focus(board, mug):
    link = board.locator(f'a[data-piece="{mug.piece_id}"]')
    link.focus()
    board.keyboard.press("Shift+ArrowRight")
    board.get_by_text("Moved, and locked there.").wait_for()
    assert place(mug.pk) == (10, -110, True)
    assert board.evaluate("document.activeElement.dataset.piece") == str(mug.piece_id)


def test_a_picked_piece_is_moved_by_its_buttons_without_a_reload(board, mug):
    board.evaluate("window.isSame = true")
    board.locator(f'a[data-piece="{mug.piece_id}"]').click()
    board.get_by_label("1 mm", exact=True).check()
    board.get_by_role("button", name="Left", exact=True).click()
    board.get_by_text("Moved, and locked there.").wait_for()
    assert place(mug.pk) == (-1, -110, True)
    assert board.evaluate("window.isSame")


@pytest.mark.parametrize("width", [390, 1280])
def test_it_is_accessible_with_a_piece_picked(board, mug, width, complaints):
    board.set_viewport_size({"width": width, "height": 900})
    board.locator(f'a[data-piece="{mug.piece_id}"]').click()
    board.locator("#picked").wait_for()
    report = Axe().run(board)
    assert [(one["id"], one["nodes"][0]["html"]) for one in report.response["violations"]] == []
    overflow = board.evaluate("document.documentElement.scrollWidth - window.innerWidth")
    assert overflow <= 0
    assert complaints == []
