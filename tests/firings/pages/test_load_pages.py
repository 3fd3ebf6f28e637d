"""A load is filled, changed slip by slip, measured and printed, over HTTP."""

import re
from io import BytesIO

import pikepdf
import pytest

from firings.actions.book import PieceRequest
from firings.actions.plan_firing import begin_loading
from firings.models import BookingState, Placement
from tests import scene
from tests.firings.pages.crew_scene import client_of, queries_of


@pytest.fixture
def firing(way):
    """A kiln taken for a firing whose load is not made yet."""
    return begin_loading(by=way.crew, at=way.now, firing=way.planned())


@pytest.fixture
def url(firing):
    return f"/firings/{firing.pk}/"


def test_filling_places_the_ware_and_shows_it_to_scale(way, crew_client, url):
    before = crew_client.get(url).content.decode()
    assert "Fill the load" in before
    assert "fill the load again" not in before
    answer = crew_client.post(f"{url}load/fill/", follow=True)
    page = answer.content.decode()
    assert "1 slips are in the load." not in page
    assert "1 slip is in the load." in page
    assert "Check and start" in page
    way.booking.refresh_from_db()
    assert way.booking.state == BookingState.PLACED
    drawing = answer.context["drawing"]
    layer = drawing.layers[0]
    # A round shelf of 394 mm, with 12 mm of margin on each side.
    assert layer.view_box == "-209 -209 418 418"
    pieces = [thing for thing in layer.things if thing.kind == "piece"]
    assert [thing.label for thing in pieces] == [way.booking.slip] * 4
    # A circle of 90 mm: two arcs of radius 45.
    assert all("a45.0 45.0" in thing.paths[0] for thing in pieces)
    assert len(layer.lines) == 4
    # 4 x pi 45^2 of pi 197^2 is 20.9 %.
    assert (layer.fill_percent, drawing.fill_percent) == (21, 21)


def test_what_stays_out_says_why(way, crew_client, url):
    wide = PieceRequest("Platter", "round", 380, 40, count=4)
    late = scene.booking(way.member, at=way.now, pieces=[wide])
    page = crew_client.post(f"{url}load/fill/", follow=True).content.decode()
    assert "1 stays out; the list below says why." in page
    late.refresh_from_db()
    assert late.state == BookingState.WAITING
    assert re.search(r"Stayed out:</strong> \S+", page)


def test_a_slip_is_taken_out_and_put_in_again_by_its_code(way, crew_client, url):
    crew_client.post(f"{url}load/fill/")
    slip = way.booking.slip
    assert crew_client.post(f"{url}load/take-out/", {"slip": slip}).status_code == 303
    way.booking.refresh_from_db()
    assert way.booking.state == BookingState.WAITING
    typed = f" {slip[:3].lower()}-{slip[3:]}"
    assert crew_client.post(f"{url}load/put-in/", {"slip": typed}).status_code == 303
    way.booking.refresh_from_db()
    assert way.booking.state == BookingState.PLACED


@pytest.mark.parametrize(
    ("typed", "message"),
    [("", "is no slip code"), ("HELLO!", "is no slip code"), ("000000", "No booking has the slip")],
)
def test_a_wrong_slip_is_told_on_the_firings_page(crew_client, url, typed, message):
    answer = crew_client.post(
        f"{url}load/put-in/",
        {"slip": typed},
        headers={"referer": f"http://testserver{url}"},
        follow=True,
    )
    assert message in answer.content.decode()


def test_ware_for_another_cone_is_not_put_in(way, crew_client, url):
    glazed = scene.booking(way.member, stage="glaze", at=way.now)
    answer = crew_client.post(
        f"{url}load/put-in/",
        {"slip": glazed.slip},
        headers={"referer": f"http://testserver{url}"},
        follow=True,
    )
    assert "this load is bisque to cone 04" in answer.content.decode()
    assert not Placement.objects.exists()


def test_a_piece_is_measured_again_in_inches(way, crew_client, url):
    crew_client.post(f"{url}load/fill/")
    piece = way.booking.pieces.first()
    sizes = {
        "shape": "round",
        "across_mm": "4",
        "across_mm_unit": "in",
        "depth_mm": "",
        "depth_mm_unit": "in",
        "height_mm": "5",
        "height_mm_unit": "in",
    }
    answer = crew_client.post(f"{url}load/pieces/{piece.pk}/", sizes, follow=True)
    piece.refresh_from_db()
    # 25.4 mm to the inch (NIST SP 811, B.8), whole mm: 101.6 and 127.
    assert (piece.across_mm, piece.height_mm) == (102, 127)
    page = answer.content.decode()
    assert "Pieces without a place" in page
    assert "Check and start" not in page


def test_a_rectangle_needs_its_depth(way, crew_client, url):
    crew_client.post(f"{url}load/fill/")
    piece = way.booking.pieces.first()
    sizes = {
        "shape": "rectangle",
        "across_mm": "10",
        "across_mm_unit": "cm",
        "height_mm": "5",
        "height_mm_unit": "cm",
    }
    answer = crew_client.post(f"{url}load/pieces/{piece.pk}/", sizes)
    assert answer.status_code == 422
    assert "needs its depth" in answer.content.decode()


def test_a_piece_of_another_firing_is_not_found(way, crew_client, url):
    piece = way.booking.pieces.first()
    assert crew_client.get(f"{url}load/pieces/{piece.pk}/").status_code == 404


def test_a_shelf_fraction_is_drawn_as_its_quarters(way, crew_client, url):
    half = scene.booking(way.member, at=way.now, shelf_fraction="half", shelf_height_mm=120)
    drawing = crew_client.post(f"{url}load/fill/", follow=True).context["drawing"]
    quarters = [
        thing for layer in drawing.layers for thing in layer.things if thing.kind == "quarter"
    ]
    assert [(thing.label, len(thing.paths)) for thing in quarters] == [(half.slip, 2)]


def test_half_round_shelves_are_drawn_side_by_side(way, crew_client):
    kiln = way.kiln
    kiln.shelf_sets.update(shape="half_round")
    firing = scene.loading(way.crew, kiln, at=way.now)
    context = crew_client.get(f"/firings/{firing.pk}/").context
    assert context["drawing"].layers[0].title in ("Layer 1, left", "Layer 1, right")


def test_the_load_sheet_is_an_accessible_pdf_with_every_piece(way, crew_client, url):
    crew_client.post(f"{url}load/fill/")
    answer = crew_client.get(f"{url}load/sheet/")
    assert answer["Content-Type"] == "application/pdf"
    with pikepdf.open(BytesIO(answer.content)) as pdf:
        root = pdf.Root
        # ISO 14289-1 (PDF/UA-1): 5 identification, 7.1 tagging and title, 7.2 language.
        assert "<pdfuaid:part>1</pdfuaid:part>" in root.Metadata.read_bytes().decode()
        assert bool(root.MarkInfo.Marked)
        assert str(root.Lang).startswith("en")
        assert bool(root.ViewerPreferences.DisplayDocTitle)
        figures = [tag for tag in _tags(root.StructTreeRoot) if tag.get("/S") == "/Figure"]
        # the side view and one layer, each with words instead of the picture (7.3)
        assert [bool(str(one.get("/Alt", ""))) for one in figures] == [True, True]
        assert any(way.booking.slip in str(one.Alt) for one in figures)


def _tags(node):
    """Every element of a PDF's structure."""
    if isinstance(node, pikepdf.Dictionary):
        yield node
        below = node.get("/K")
        for child in below if isinstance(below, pikepdf.Array) else [below]:
            yield from _tags(child)


def test_only_crew_change_a_load(way, url):
    for person in (way.member, scene.manager("Mika"), scene.treasurer()):
        client = client_of(person)
        assert client.post(f"{url}load/fill/").status_code == 403
        assert client.post(f"{url}load/put-in/", {"slip": way.booking.slip}).status_code == 403


def test_queries_do_not_grow_with_slips(way, crew_client, url):
    crew_client.post(f"{url}load/fill/")
    with_one = queries_of(crew_client, url)
    for name in ("Otto", "Runa"):
        scene.booking(scene.person(name), at=way.now)
    crew_client.post(f"{url}load/fill/")
    scene.booking(way.member, at=way.now)
    scene.booking(way.member, at=way.now)
    assert queries_of(crew_client, url) == with_one <= 25
