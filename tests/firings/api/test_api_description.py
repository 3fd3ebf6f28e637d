"""The generated description of the API: complete, valid and without a warning.

Checked against the OpenAPI 3.1 meta-schema, by drf-spectacular's own validator.
"""

from __future__ import annotations

from pathlib import Path

import pytest
import yaml
from django.core.management import call_command
from django.test import Client

pytestmark = pytest.mark.django_db

OF_KILNS_AND_WARE = (
    "kilns",
    "clays",
    "glazes",
    "sizes",
    "queues",
    "firing-policy",
    "bookings",
    "firings",
)


def test_the_description_is_generated_without_warnings_and_is_valid(tmp_path: Path):
    target = tmp_path / "schema.yml"
    call_command("spectacular", "--validate", "--fail-on-warn", "--file", str(target))
    described = yaml.safe_load(target.read_text())
    assert described["openapi"].startswith("3.1")
    rooms = {path.split("/")[3] for path in described["paths"]}
    assert rooms >= set(OF_KILNS_AND_WARE)
    keys = described["paths"]["/api/v1/kilns/{id}/readings/"]["post"]["security"]
    assert keys == [{"kilnKey": []}]


def test_every_address_of_kilns_and_ware_asks_who_calls(client: Client):
    for room in OF_KILNS_AND_WARE:
        answer = client.get(f"/api/v1/{room}/")
        assert (answer.status_code, answer.json()["code"]) == (401, "not_authenticated")
