"""A top layer locked with something where posts would stand: a load is found around it."""

import pytest

from firings.actions.hold_load import lock_layer
from firings.actions.kiln_space import space_of
from firings.actions.load import fill_load
from firings.models import FiringPolicy, Layer, Placement
from studio.models import Person
from tests import scene
from tests.scene import NOON

pytestmark = pytest.mark.django_db


@pytest.fixture
def cosmo():
    return scene.crew()


@pytest.fixture
def firing(cosmo):
    """A load of one shelf with four mugs and its cones."""
    kiln = scene.kiln()
    scene.booking(scene.person("Ines"))
    return scene.loading(cosmo, kiln)


def stand(firing, at_mm, pack_mm):
    """Mugs in the middle but one; as on a top shelf, where no post is in the way."""
    layer = firing.layers.get()
    places = [at_mm, (-50, 50), (50, 50), (-50, -50)]
    for put, (x_mm, y_mm) in zip(layer.placements.order_by("pk"), places, strict=True):
        put.x_mm, put.y_mm = x_mm, y_mm
        put.save()
    layer.cone_pack = [*pack_mm, 0]
    layer.save()
    return layer


def post_place(firing):
    return space_of(firing.kiln, FiringPolicy.current()).stacks[0].post_places_mm[0]


def test_ware_on_a_post_place_has_no_shelf_above_and_the_page_says_so(cosmo, firing, client):
    x_mm, y_mm = post_place(firing)
    stand(firing, (x_mm * 0.8, y_mm * 0.8), (0, -140))
    lock_layer(by=cosmo, at=NOON, firing=firing, stack="whole", position=1, is_locked=True)
    late = scene.booking(Person.objects.get(name="Ines"), shelf_fraction="full", shelf_height_mm=90)
    proposal = fill_load(by=cosmo, at=NOON, firing=firing)
    assert late in proposal.left_out
    assert firing.layers.count() == 1
    client.force_login(cosmo)
    page = client.get(f"/firings/{firing.pk}/load/").content.decode()
    assert "No shelf goes above layer 1: what is locked there stands where its posts would." in page


def test_the_pack_moves_rather_than_that_no_load_is_found(cosmo, firing):
    layer = stand(firing, (50, -50), [mm * 0.8 for mm in post_place(firing)])
    ines = Person.objects.get(name="Ines")
    stood = dict(Placement.objects.filter(layer=layer).values_list("piece_id", "x_mm"))
    lock_layer(by=cosmo, at=NOON, firing=firing, stack="whole", position=1, is_locked=True)
    for _ in range(2):
        scene.booking(ines, shelf_fraction="full", shelf_height_mm=90)
    proposal = fill_load(by=cosmo, at=NOON, firing=firing)
    assert firing.layers.count() >= 3
    assert len(proposal.placed) == 3
    assert not proposal.warnings
    locked = Layer.objects.get(firing=firing, position=1)
    assert dict(Placement.objects.filter(layer=locked).values_list("piece_id", "x_mm")) == stood
