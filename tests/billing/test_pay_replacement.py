"""A part is replaced: the reserve that members filled pays, and the studio what is missing."""

from datetime import timedelta
from decimal import Decimal

import pytest

from billing.actions.balances import trial_balance_on
from billing.actions.chart import BANK, open_account, wear_reserve_of
from billing.actions.ledger import Leg, post_entry
from billing.models import JournalEntry
from firings.actions.kilns import add_part, replace_part
from firings.models import KilnPart
from firings.refusals import WareRefusal
from tests import scene
from tests.scene import NOON

pytestmark = pytest.mark.django_db
LATER = NOON + timedelta(days=400)


@pytest.fixture
def marta():
    return scene.manager()


@pytest.fixture
def elements(marta) -> KilnPart:
    """Elements of 480.00 whose kiln has 300.00 in its reserve."""
    part = add_part(
        by=marta, at=NOON, kiln=scene.kiln(), kind="element", name="Elements",
        replacement_cost_minor=48_000, life_unit="firings", expected_life=Decimal(120),
        fitted_on=NOON.date(),
    )  # fmt: skip
    legs = [Leg(open_account(BANK), 30_000), Leg(wear_reserve_of(part.kiln), -30_000)]
    post_entry(by=marta, at=NOON, on=NOON.date(), text="Saved", source="saved", legs=legs)
    return part


def legs_of(part: KilnPart) -> dict[str, int]:
    entry = JournalEntry.objects.get(source=f"part:{part.pk}")
    return {leg.account.name: leg.amount_minor for leg in entry.postings.select_related("account")}


def test_the_reserve_pays_and_keeps_the_rest(marta, elements):
    fitted = replace_part(by=marta, at=LATER, part=elements, cost_minor=25_000)
    assert legs_of(elements) == {"Wear reserve of Heron": 25_000, "Bank": -25_000}
    assert fitted.replacement_cost_minor == 25_000
    assert trial_balance_on(LATER.date())[0].is_balanced


def test_beyond_the_reserve_the_studio_pays(marta, elements):
    replace_part(by=marta, at=LATER, part=elements)
    assert legs_of(elements) == {
        "Wear reserve of Heron": 30_000,
        "Replacements beyond the wear reserve carried by the studio": 18_000,
        "Bank": -48_000,
    }


def test_what_cost_nothing_is_not_posted(marta, elements):
    fitted = replace_part(by=marta, at=LATER, part=elements, cost_minor=0)
    assert not JournalEntry.objects.filter(source=f"part:{elements.pk}").exists()
    assert fitted.replacement_cost_minor == 48_000


def test_a_cost_that_cannot_be_leaves_the_part_in_place(marta, elements):
    with pytest.raises(WareRefusal, match="cost"):
        replace_part(by=marta, at=LATER, part=elements, cost_minor=-5)
    elements.refresh_from_db()
    assert elements.retired_on is None
