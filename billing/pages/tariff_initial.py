"""A version as it stands in the form of its kind, to begin a new one with."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from billing.pages.tariff_charge_fields import initial_charges
from billing.pages.tariff_forms import TIERS
from billing.pages.tariff_hours_form import initial_hours


def initial_of(rates: Mapping[str, Any]) -> dict[str, Any]:
    """The form's fields by name, the charges beside the energy too."""
    initial = initial_charges(rates)
    initial["time_zone"] = rates.get("time_zone") or ""
    if rates.get("kind") == "flat":
        return {**initial, "price_per_kwh": rates["price_per_kwh"]}
    if rates.get("kind") == "tiered":
        for number, tier in zip(TIERS, rates["tiers"], strict=False):
            initial[f"up_to_{number}"] = tier["up_to_kwh"]
            initial[f"price_{number}"] = tier["price_per_kwh"]
        return initial
    return {**initial, **initial_hours(rates)}
