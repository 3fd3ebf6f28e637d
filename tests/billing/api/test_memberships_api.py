"""The API of memberships, crew, refunds, consumables and reserves: what pages do, it does."""

from __future__ import annotations

import pytest
from rest_framework.test import APIClient

from billing.models import Consumable, CrewTurn, LifeEstimate, Membership, MembershipHolding
from firings.models import KilnPart
from studio.models import Role
from tests.billing.api.conftest import with_token
from tests.billing.conftest import Books
from tests.billing.faces_scene import priced
from tests.billing.scene import make_person

API = "/api/v1"
FOR_KEEPERS = ("memberships", "consumables", "reserves")


@pytest.fixture
def kit(books: Books) -> APIClient:
    return with_token(make_person("Kit Crew", Role.CREW))


@pytest.mark.parametrize("name", FOR_KEEPERS)
def test_lists_are_for_those_who_keep_books(
    books: Books, tess: APIClient, mara: APIClient, ada: APIClient, name: str
) -> None:
    for client, status in ((tess, 200), (mara, 200), (ada, 403), (APIClient(), 401)):
        assert client.get(f"{API}/{name}/").status_code == status


def test_membership_is_added_edited_and_held(books: Books, mara: APIClient, ada: APIClient) -> None:
    sent = {"name": "Guest", "kind": "surcharge", "basis_points": 2500}
    made = mara.post(f"{API}/memberships/", sent, format="json")
    assert made.status_code == 201
    pk = made.json()["id"]
    edited = mara.patch(f"{API}/memberships/{pk}/", {"basis_points": 3000}, format="json")
    assert edited.json()["basis_points"] == 3000
    give = {"account": 101, "membership": pk, "valid_from": "2026-03-01"}
    held = mara.post(f"{API}/membership-holdings/", give, format="json")
    assert (held.status_code, held.json()["account"]) == (201, 101)
    again = mara.post(f"{API}/membership-holdings/", give, format="json")
    assert (again.status_code, again.json()["code"]) == (409, "holding_overlaps")
    cost = priced(books)
    rise = cost.shares.filter(account=books.ada_account).first()
    assert ada.get(f"{API}/shares/{rise.pk}/").json()["split_minor"] == 347
    assert ada.get(f"{API}/shares/{rise.pk}/").json()["amount_minor"] == 451  # + 1.041
    shown = mara.get(f"{API}/firing-costs/{cost.pk}/").json()
    assert [step["amount_minor"] for step in shown["steps"]] == [104, 70]
    assert shown["rule"]["minimum_minor"] == 0
    address = f"{API}/membership-holdings/{held.json()['id']}/"
    ended = mara.patch(address, {"valid_until": "2026-03-31"}, format="json")
    assert ended.json()["valid_until"] == "2026-03-31"
    used = mara.patch(f"{API}/memberships/{pk}/", {"basis_points": 1}, format="json")
    assert (used.status_code, used.json()["code"]) == (409, "membership_used")


def test_member_reads_what_the_own_account_holds(
    books: Books, ada: APIClient, ben: APIClient
) -> None:
    fund = Membership.objects.create(name="Fund", kind="subsidy", basis_points=3000)
    MembershipHolding.objects.create(
        account=books.ada_account, membership=fund, valid_from="2026-03-01",
        given_by=books.manager, given_at="2026-03-01T00:00:00Z",
    )  # fmt: skip
    rows = ada.get(f"{API}/membership-holdings/").json()["results"]
    assert [row["membership"]["name"] for row in rows] == ["Fund"]
    assert ben.get(f"{API}/membership-holdings/").json()["results"] == []
    give = {"account": 102, "membership": fund.pk, "valid_from": "2026-03-01"}
    assert ben.post(f"{API}/membership-holdings/", give, format="json").status_code == 403


def test_crew_turn_is_noted_and_struck(books: Books, kit: APIClient, ada: APIClient) -> None:
    firing = books.firing()
    sent = {"firing": firing.pk, "person": books.ada.pk, "minutes": 45}
    noted = kit.post(f"{API}/crew-turns/", sent, format="json")
    assert noted.status_code == 201
    assert kit.get(f"{API}/crew-turns/").json()["count"] == 1
    assert ada.post(f"{API}/crew-turns/", sent, format="json").status_code == 403
    assert kit.delete(f"{API}/crew-turns/{noted.json()['id']}/").status_code == 204
    assert not CrewTurn.objects.exists()


def test_refund_is_given_and_read_by_its_account(
    books: Books, kit: APIClient, ada: APIClient, ben: APIClient
) -> None:
    share = priced(books).shares.get(account=books.ben_account)
    sent = {"share": share.pk, "basis_points": 5000, "reason": "the lid dripped"}
    given = kit.post(f"{API}/refunds/", sent, format="json")
    assert (given.status_code, given.json()["amount_minor"]) == (201, 290)
    assert ben.get(f"{API}/refunds/").json()["results"][0]["is_reversed"] is False
    assert ada.get(f"{API}/refunds/").json()["results"] == []
    assert ada.post(f"{API}/refunds/", sent, format="json").status_code == 403
    more = kit.post(f"{API}/refunds/", {**sent, "basis_points": 9000}, format="json")
    assert (more.status_code, more.json()["code"]) == (409, "refund_too_much")


def test_consumables_are_kept(books: Books, tess: APIClient) -> None:
    sent = {"name": "Cones", "price_minor": 90, "per": "layer"}
    made = tess.post(f"{API}/consumables/", sent, format="json")
    assert made.status_code == 201
    edited = tess.patch(
        f"{API}/consumables/{made.json()['id']}/", {"is_used": False}, format="json"
    )
    assert edited.json() == {**sent, "id": made.json()["id"], "is_used": False}
    assert Consumable.objects.get().price_minor == 90


def test_reserves_and_estimates(books: Books, tess: APIClient, ada: APIClient) -> None:
    for _ in range(3):
        priced(books)
    reserve = tess.get(f"{API}/reserves/").json()[0]
    assert (reserve["balance_minor"], reserve["percent_funded"]) == (60, 100)
    assert reserve["parts"][0]["life_used"] == "3.0000"
    address = f"{API}/kiln-parts/{KilnPart.objects.get().pk}/estimates/"
    sent = {"replacement_cost_minor": 12_000, "expected_life": "300", "reason": "dearer"}
    assert ada.post(address, sent, format="json").status_code == 403
    made = tess.post(address, sent, format="json")
    assert (made.status_code, made.json()["charged_minor"]) == (201, 60)
    assert LifeEstimate.objects.count() == 1


def test_policy_takes_the_rules(books: Books, tess: APIClient) -> None:
    address = f"{API}/billing-policy/"
    sent = {"fixed_kind": "percent", "fixed_percent": 30, "minimum_charge_minor": 200}
    assert tess.patch(address, sent, format="json").json()["fixed_percent"] == 30
    nothing = tess.patch(address, {"fixed_percent": 0}, format="json")
    assert (nothing.status_code, nothing.json()["code"]) == (422, "fixed_percent_wrong")
