"""Memberships, consumables, crew, refunds and reserves on screen: the whole way, and who may."""

from __future__ import annotations

from datetime import date

import pytest
from django.test import Client

from billing.models import (
    BillingPolicy,
    Consumable,
    CrewTurn,
    LifeEstimate,
    Membership,
    MembershipHolding,
    Refund,
)
from firings.models import FiringState, KilnPart
from studio.models import Role
from tests.billing.conftest import Books
from tests.billing.faces_scene import priced, signed_in, text_of
from tests.billing.scene import NOON, make_firing, make_person, put_ware

FOR_KEEPERS = (
    "/books/memberships/",
    "/books/memberships/add/",
    "/books/accounts/101/membership/",
    "/books/consumables/",
    "/books/consumables/add/",
    "/books/reserves/",
)


@pytest.fixture
def kit(books: Books) -> Client:
    return signed_in(make_person("Kit Crew", Role.CREW))


@pytest.mark.parametrize("address", FOR_KEEPERS)
def test_pages_are_for_those_who_keep_books(
    books: Books, tess: Client, mara: Client, ada: Client, kit: Client, address: str
) -> None:
    for client, status in ((tess, 200), (mara, 200), (ada, 403), (kit, 403)):
        assert client.get(address).status_code == status


def test_membership_is_added_given_used_and_ended(books: Books, mara: Client, ada: Client) -> None:
    assert "No memberships yet" in text_of(mara.get("/books/memberships/"))
    add = {"name": "Kiln club", "kind": "area_allowance", "area_mm2": "400", "area_mm2_unit": "cm2"}
    assert mara.post("/books/memberships/add/", add).status_code == 303
    club = Membership.objects.get()
    assert club.area_mm2 == 40_000
    give = {"membership": club.pk, "valid_from": "2026-03-01", "valid_until": ""}
    answer = mara.post("/books/accounts/101/membership/", give)
    assert (answer.status_code, answer.url) == (303, "/books/accounts/101/")
    priced(books, NOON)
    mine = text_of(ada.get("/account/"))
    assert "Kiln club" in mine
    # it is 2 April: all of April's 400 cm2 are left
    assert "Left this month: 400.0 cm²" in mine.replace("\xa0", " ")
    listed = text_of(mara.get("/books/memberships/"))
    assert "101 Ada Rowan" in listed
    holding = MembershipHolding.objects.get()
    end = mara.post(f"/books/holdings/{holding.pk}/", {"valid_until": "2026-03-31"})
    assert end.status_code == 303
    assert "Kiln club" not in text_of(ada.get("/account/"))


def test_membership_in_use_says_why_it_stays(books: Books, mara: Client) -> None:
    fund = Membership.objects.create(name="Fund", kind="subsidy", basis_points=3000)
    MembershipHolding.objects.create(
        account=books.ada_account, membership=fund, valid_from=date(2026, 3, 1),
        given_by=books.manager, given_at=NOON,
    )  # fmt: skip
    priced(books)
    address = f"/books/memberships/{fund.pk}/"
    assert 'value="30' in text_of(mara.get(address))
    answer = mara.post(address, {"name": "Fund", "percent": "40", "is_offered": "on"})
    assert answer.status_code == 409
    assert "It has changed charges already" in text_of(answer)
    assert mara.post(address, {"name": "Fund", "percent": "30"}).status_code == 303
    fund.refresh_from_db()
    assert not fund.is_offered


def test_membership_without_its_value_is_asked_for_it(books: Books, mara: Client) -> None:
    answer = mara.post("/books/memberships/add/", {"name": "Guest", "kind": "surcharge"})
    assert answer.status_code == 422
    assert "More than 0" in text_of(answer)


def test_consumable_is_added_and_edited(books: Books, tess: Client) -> None:
    add = {"name": "Witness cones", "price_minor": "0.90", "per": "layer"}
    assert tess.post("/books/consumables/add/", add).status_code == 303
    cones = Consumable.objects.get()
    address = f"/books/consumables/{cones.pk}/"
    assert tess.post(address, {**add, "price_minor": "1.10"}).status_code == 303
    cones.refresh_from_db()
    assert (cones.price_minor, cones.is_used) == (110, False)
    assert "Witness cones" in text_of(tess.get("/books/consumables/"))
    assert tess.post(address, {**add, "price_minor": "0"}).status_code == 422


def test_crew_note_their_work_before_the_firing_is_closed(
    books: Books, kit: Client, ada: Client
) -> None:
    firing = make_firing(books.kiln, state=FiringState.COOLING)
    assert "Note who works at it" in text_of(kit.get(f"/firings/{firing.pk}/"))
    address = f"/firings/{firing.pk}/crew/"
    assert ada.get(address).status_code == 403
    assert "Nobody is noted" in text_of(kit.get(address))
    noted = kit.post(address, {"person": books.ada.pk, "minutes": "90"})
    assert (noted.status_code, noted.url) == (303, address)
    turn = CrewTurn.objects.get()
    assert "Ada Rowan, 90 minutes" in text_of(kit.get(address))
    assert "Ada Rowan (90 minutes)" in text_of(kit.get(f"/firings/{firing.pk}/"))
    assert kit.post(address, {"person": books.ada.pk, "minutes": "9999"}).status_code == 422
    assert kit.post(f"/crew-turns/{turn.pk}/strike/").status_code == 303
    assert not CrewTurn.objects.exists()


def test_crew_give_part_back_and_its_account_reads_why(
    books: Books, kit: Client, ben: Client
) -> None:
    share = priced(books).shares.get(account=books.ben_account)
    ware = f"/ware/{share.booking.slip}/"
    assert f"/shares/{share.pk}/refund/" in text_of(kit.get(ware))
    assert f"/shares/{share.pk}/refund/" not in text_of(ben.get(ware))
    address = f"/shares/{share.pk}/refund/"
    assert "5.79" not in text_of(kit.get(address))  # crew are not told what others pay
    answer = kit.post(address, {"percent": "50", "reason": "the lid dripped"})
    assert (answer.status_code, answer.url) == (303, ware)
    assert Refund.objects.get().amount_minor == 290
    mine = text_of(ben.get("/account/"))
    assert "the lid dripped" in mine
    assert "€2.89" in mine
    assert "was given back" in text_of(ben.get(ware))


def test_refund_beyond_the_charge_keeps_what_was_typed(books: Books, tess: Client) -> None:
    share = priced(books).shares.get(account=books.ben_account)
    address = f"/shares/{share.pk}/refund/"
    assert "€5.79" in text_of(tess.get(address))
    answer = tess.post(address, {"amount_minor": "5.80", "reason": "cracked"})
    assert answer.status_code == 409
    assert "€5.79 can still be given back" in text_of(answer)
    assert "cracked" in text_of(answer)
    assert not Refund.objects.exists()


def test_members_open_neither_refund_nor_estimate(books: Books, ada: Client) -> None:
    share = priced(books).shares.first()
    part = KilnPart.objects.get()
    for address in (f"/shares/{share.pk}/refund/", f"/books/reserves/parts/{part.pk}/"):
        assert ada.get(address).status_code == 403


def test_reserves_show_funding_and_an_estimate_changes_it(books: Books, tess: Client) -> None:
    for _ in range(3):
        priced(books)
    page = text_of(tess.get("/books/reserves/"))
    for words in ("Old Faithful", "100 %", "€0.60", "3 of 300 firings", "<rect", "not to be told"):
        assert words in page
    part = KilnPart.objects.get()
    address = f"/books/reserves/parts/{part.pk}/"
    form = {"replacement_cost_minor": "120.00", "expected_life": "300", "reason": "dearer now"}
    assert tess.post(address, {**form, "expected_life": "2"}).status_code == 409
    assert tess.post(address, form).status_code == 303
    assert LifeEstimate.objects.get().charged_minor == 60
    assert "50 %" in text_of(tess.get("/books/reserves/"))


def test_cost_page_shows_steps_and_crew(books: Books, tess: Client) -> None:
    BillingPolicy.objects.update(minimum_charge_minor=300)
    crew = Membership.objects.create(name="Crew", kind="crew_firing", amount_minor=400)
    MembershipHolding.objects.create(
        account=books.ada_account, membership=crew, valid_from=date(2026, 3, 1),
        given_by=books.manager, given_at=NOON,
    )  # fmt: skip
    cost = priced(books, started_by=books.ada)
    page = text_of(tess.get(f"/books/costs/{cost.pk}/"))
    assert "€2.32" in page
    assert "€3.00" in page
    assert "Crew, Ada Rowan: for each firing = €4.00 credited." in page
    assert "Crew: Ada Rowan" in text_of(signed_in(books.ada).get("/account/"))


@pytest.mark.parametrize("rows", [1, 3])
@pytest.mark.parametrize(
    ("address", "queries"),
    [("/books/memberships/", 6), ("/books/consumables/", 5), ("/books/reserves/", 8)],
)
def test_list_asks_the_same_number_of_questions(
    books: Books,
    tess: Client,
    rows: int,
    address: str,
    queries: int,
    django_assert_num_queries: object,
) -> None:
    for number in range(rows):
        held = Membership.objects.create(name=f"M{number}", kind="subsidy", basis_points=number + 1)
        MembershipHolding.objects.create(
            account=books.ada_account, membership=held, valid_from=date(2026, 3, 1),
            given_by=books.manager, given_at=NOON,
        )  # fmt: skip
        Consumable.objects.create(name=f"C{number}", price_minor=5, per="firing")
        firing = make_firing(books.kiln)
        put_ware(firing, books.ben, 500)
        priced(books)
    with django_assert_num_queries(queries):
        tess.get(address)
