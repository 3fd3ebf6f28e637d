"""One firing with every rule on: each cent against a calculation by hand, and a member who
repeats the own share from the words of the statement alone.

By hand. Electricity 42.3 kWh x 0.21 = 8.883, 8.88; relays 60.00 / 300 = 0.20; cones 0.90 x 2
layers = 1.80; wash 0.15 x 3 slips = 0.45; stilts 0.30 for 1,000 cm2 = 0.30; flat 1.50; handling
1.00: the pool is 14.13. Alike for all: 30 % of 8.88 = 2.664, 2.66; the other 11.47 by height.

Layers are 20 and 30 cm high. Ada's first 300 cm2 stand on the lower: 6,000 cm3; Ben's 500 on the
upper: 15,000; Ada's other 200 half on each: 5,000. Two shelves of 2,000 cm2 hold 100,000 cm3.
Ada 2.66/3 + 11.47 x 0.06 = 1.57487; Ben .88667 + 1.7205 = 2.60717; Ada .88667 + .5735 = 1.46017;
the studio 11.47 x 0.74 = 8.4878. Whole cents 157 + 260 + 146 + 848 = 1411: the two left go to the
studio (.78) and Ben (.72): 1.57, 2.61, 1.46, 8.49.

The least is 1.50: 0.04 more for Ada's second. Ben is a guest, 25 % more: .6525, 0.65: 3.26. Ada has
350 cm2 free: all of 1.57; 50 of 200 cm2 of 1.50: .375, the half cent is hers, 0.38, so 1.12; a fund
carries 30 %: .336, 0.34, so 0.78. Ben worked 90 minutes at 6.50 an hour: 9.75. Later half of his
3.26 is given back: 1.63.
"""

from __future__ import annotations

import re
from datetime import date
from fractions import Fraction

import pytest
from django.db import transaction
from django.test import Client

from billing.actions.balances import ledger_balances_on
from billing.actions.close_month import close_month, preview_close
from billing.actions.crew_turns import note_crew_turn
from billing.actions.price_firing import post_firing_cost, reverse_firing_cost
from billing.actions.refunds import refund_share
from billing.models import (
    BillingPolicy,
    Consumable,
    FiringCost,
    Membership,
    MembershipHolding,
    Statement,
)
from billing.statement_pdf import render_statement_pdf
from firings.models import Firing, Layer, Piece, Placement
from studio.models import Account
from tests.billing.conftest import Books
from tests.billing.faces_scene import signed_in, text_of
from tests.billing.pocket_calculator import amount_after, amounts_in, number, plain, sums_in
from tests.billing.scene import AFTER_MARCH, MARCH, NOON

CENT = Fraction(1, 100)
ALL_HERE = date(2026, 12, 31)


def hold(books: Books, account: Account, name: str, kind: str, **value: int) -> Membership:
    membership = Membership.objects.create(name=name, kind=kind, **value)
    MembershipHolding.objects.create(
        account=account, membership=membership, valid_from=MARCH, given_by=books.manager,
        given_at=NOON,
    )  # fmt: skip
    return membership


def loaded(books: Books) -> Firing:
    """Two layers, 20 and 30 cm high under a lid at 60 cm, with shelves of 16 mm."""
    firing = books.firing()
    lower = firing.layers.get()
    lower.position, lower.shelf_bottom_mm = 1, 68
    lower.save()
    upper = Layer.objects.create(
        firing=firing, position=2, shelf_set=lower.shelf_set, shelf_bottom_mm=284
    )
    first, second, third = firing.bookings.order_by("pk")
    for booking, layers in ((first, [lower]), (second, [upper]), (third, [lower, upper])):
        for layer in layers:
            piece = Piece.objects.create(
                booking=booking, name="Tile", shape="rectangle", across_mm=90, depth_mm=90,
                height_mm=20,
            )  # fmt: skip
            Placement.objects.create(layer=layer, piece=piece, x_mm=0, y_mm=0)
    return firing


@pytest.fixture
def cost(books: Books) -> FiringCost:
    BillingPolicy.objects.update(
        split_policy="capacity", fixed_kind="percent", fixed_percent=30, weighs_height=True,
        minimum_charge_minor=150,
    )  # fmt: skip
    for name, price_minor, per in (
        ("Cones", 90, "layer"), ("Kiln wash", 15, "booking"), ("Stilts", 30, "area"),
    ):  # fmt: skip
        Consumable.objects.create(name=name, price_minor=price_minor, per=per)
    hold(books, books.ada_account, "Kiln club", "area_allowance", area_mm2=35_000)
    hold(books, books.ada_account, "Hardship fund", "subsidy", basis_points=3_000)
    hold(books, books.ben_account, "Guest", "surcharge", basis_points=2_500)
    hold(books, books.ben_account, "Crew", "crew_hour", amount_minor=650)
    firing = loaded(books)
    note_crew_turn(by=books.manager, at=NOON, firing=firing, person=books.ben, minutes=90)
    with transaction.atomic():
        return post_firing_cost(firing, books.manager, NOON)


def balances() -> dict[str, int]:
    return {row.code: minor for row, minor in ledger_balances_on(ALL_HERE) if minor}


def test_every_cent_is_where_the_hand_put_it(books: Books, cost: FiringCost) -> None:
    assert list(cost.lines.values_list("amount_minor", flat=True)) == [
        888, 20, 180, 45, 30, 150, 100,
    ]  # fmt: skip
    assert (cost.pool_minor, cost.studio_minor) == (1413, 849)
    assert list(cost.shares.values_list("split_minor", "amount_minor")) == [
        (157, 0), (261, 326), (146, 78),
    ]  # fmt: skip
    assert list(cost.steps.values_list("text", "amount_minor", "used")) == [
        ("Kiln club", -157, 30_000),
        ("Guest", 65, 0),
        ("Minimum charge", 4, 0),
        ("Kiln club", -38, 5_000),
        ("Hardship fund", -34, 0),
        ("Crew, Ben Sallow", -975, 0),
    ]
    half = cost.shares.get(account=books.ben_account)
    refund_share(by=books.manager, at=NOON, share=half, basis_points=5_000, reason="lid dripped")
    fund = Membership.objects.get(name="Hardship fund")
    assert balances() == {
        "1200.101": 78,
        "1200.102": 326 - 975 - 163,
        f"2200.{books.kiln.pk}": -20,
        "4000": -888,
        "4100": -180 - 45 - 30 - 150 - 100,
        "4110": -4,
        "4200": -65,
        "5000": 849,
        "5120": 163,
        f"5300.{fund.pk}": 34,
        "5310": 157 + 38,
        "5400": 975,
    }


def test_statements_show_every_step_and_end_with_the_ledger(books: Books, cost: FiringCost) -> None:
    share = cost.shares.get(account=books.ben_account)
    refund_share(by=books.manager, at=NOON, share=share, basis_points=5_000, reason="lid dripped")
    seen = preview_close(MARCH, AFTER_MARCH)
    assert (seen.charges_minor, seen.credits_minor) == (78 + 326, 975 + 163)
    close_month(by=books.treasurer, at=AFTER_MARCH, month=MARCH)
    adas, bens = (
        Statement.objects.get(account=account) for account in (books.ada_account, books.ben_account)
    )
    assert (adas.charges_minor, adas.credits_minor, adas.closing_minor) == (78, 0, 78)
    assert (bens.charges_minor, bens.credits_minor, bens.closing_minor) == (326, 1138, -812)
    firing_lines = [line for line in adas.content["lines"] if "firing" in line]
    assert [(line["split_minor"], line["amount_minor"]) for line in firing_lines] == [
        (157, 0),
        (146, 78),
    ]
    page = text_of(signed_in(books.ada).get(adas.get_absolute_url()))
    for words in ("Kiln club", "-€1.57", "Minimum charge", "+€0.04", "Hardship fund", "-€0.34"):
        assert words in page
    assert render_statement_pdf(adas).startswith(b"%PDF-")
    bens_page = text_of(signed_in(books.ben).get(bens.get_absolute_url()))
    assert "Crew: Ben Sallow, Glaze firing" in bens_page
    assert "lid dripped" in bens_page


def test_member_repeats_a_share_from_its_words_alone(books: Books, cost: FiringCost) -> None:
    close_month(by=books.treasurer, at=AFTER_MARCH, month=MARCH)
    charged = {}
    for statement in Statement.objects.all():
        for line in statement.content["lines"]:
            if "firing" in line:
                charged[line["slip"]] = repeated(line["working"], line["own_count"])
    slips = [share.booking.slip for share in cost.shares.select_related("booking")]
    assert [charged[slip] for slip in slips] == [0, Fraction("3.26"), Fraction("0.78")]


def repeated(working: list[str], own_count: int) -> Fraction:
    """What is charged, worked out from the sentences; each figure on the way is compared."""
    shared, own = working[:-own_count], [plain(sentence) for sentence in working[-own_count:]]
    pool = pool_of(shared[:-1])
    fixed = amounts_in(shared[-1])[0]
    assert pool - fixed == amounts_in(shared[-1])[1]
    for shown, said in sums_in(own[0]):
        assert abs(shown - said) < CENT / 100
    quota = sums_in(own[0])[-1][0]
    so_far = amount_after("so ", own[0])
    assert abs(so_far - quota) < CENT
    assert (so_far > quota) == ("largest fractions" in own[0])
    for sentence in own[1:-1]:
        shown, said = sums_in(sentence)[-1]
        assert abs(shown - said) <= CENT / 2
        so_far += said if sentence.endswith("more.") else -said
    assert sums_in(own[-1]) == [(so_far, so_far)]
    return so_far


def pool_of(sentences: list[str]) -> Fraction:
    """Electricity by its price, wear by its life, consumables by their count; then the sum."""
    energy, wear, *others, whole = (plain(sentence) for sentence in sentences)
    periods = re.findall(r"([\d.]+) kWh in “[^”]+” at ([\d.]+) EUR", energy)
    priced = sum((number(kwh) * number(price) for kwh, price in periods), Fraction(0))
    electricity = amount_after("rounded once: ", energy)
    assert abs(priced - electricity) <= CENT / 2
    cost, life, used = (amount_after(word, wear) for word in ("costs ", "after ", "used "))
    saved = amount_after("so ", wear)
    assert abs(cost / life * used - saved) <= CENT / 2
    amounts = [electricity, saved]
    for sentence in others:
        amounts.append(amounts_in(sentence)[-1])
        for shown, said in sums_in(sentence):
            assert shown == said
    assert amounts_in(whole) == [sum(amounts), *amounts]
    return sum(amounts, Fraction(0))


def test_working_as_data_repeats_the_same(cost: FiringCost) -> None:
    for share in cost.shares.all():
        split = share.working["split"]
        pool_minor = sum(line["amount_minor"] for line in share.working["pool"])
        weight = sum(one["area_mm2"] * one["height_mm"] for one in split["layers"])
        rest_minor = pool_minor - split["fixed_minor"]
        quota = Fraction(split["fixed_minor"], split["bookings"]) + Fraction(
            rest_minor * weight, split["weight_divisor"]
        )
        assert int(quota) == split["whole_minor"]
        added = 1 if split["rounding"] == "added" else 0
        steps_minor = sum(step["amount_minor"] for step in share.working["steps"])
        assert int(quota) + added + steps_minor == share.amount_minor
        assert share.working["charged_minor"] == share.amount_minor


def test_reversal_takes_every_cent_back(books: Books, cost: FiringCost) -> None:
    reverse_firing_cost(by=books.treasurer, at=NOON, cost=cost, reason="misread")
    assert balances() == {}


def test_share_page_shows_the_rules(books: Books, cost: FiringCost) -> None:
    share = cost.shares.filter(account=books.ada_account).last()
    client: Client = signed_in(books.ada)
    page = text_of(client.get(f"/shares/{share.pk}/"))
    for words in (
        "all 3 slips carry it alike",
        "layer 1: 100.00 cm² × 20.0 cm = 2,000.000 cm³",
        "layer 2: 100.00 cm² × 30.0 cm = 3,000.000 cm³",
        "€2.66 ÷ 3 + €11.47 × 5,000.000 ÷ 100,000.000 = 1.460166…",
        "No slip is charged less than",
        "Hardship fund",
        '<strong class="number">€0.78</strong>',
    ):
        assert words in page


def test_load_without_places_is_split_by_area(books: Books) -> None:
    BillingPolicy.objects.update(weighs_height=True)
    with transaction.atomic():
        cost = post_firing_cost(books.firing(), books.manager, NOON)
    assert list(cost.shares.values_list("amount_minor", flat=True)) == [347, 579, 232]
    assert cost.rule["weighs_height"] is False
