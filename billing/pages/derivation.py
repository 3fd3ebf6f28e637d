"""A share's stored working, made readable: every figure that a pocket calculator needs.

Figures are shown as exactly as they were used: energy to the Wh, areas to the mm2, prices as the
tariff has them. The amounts are those that were posted; nothing is worked out anew here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_DOWN, Decimal
from typing import Any

from babel.numbers import format_decimal, format_percent

from billing.calculations.working import ENERGY_SOURCES
from billing.models import CostKind, CostLine, Share
from firings.models import Alloy, Firing, LifeUnit
from studio.calculations.money import minor_digits

QUOTA_DIGITS_MORE = 4


@dataclass(frozen=True)
class PeriodRow:
    """The energy that fell into one period, times its price."""

    name: str
    kwh: str
    price: str
    cost: str


@dataclass(frozen=True)
class TaxRow:
    """A tax on the energy: what it is taken of, times its rate."""

    name: str
    base: str
    rate: str
    cost: str


@dataclass(frozen=True)
class EnergyStep:
    kwh: str
    uncertainty_kwh: str
    source: str
    meter_start_kwh: str
    meter_end_kwh: str
    tariff: str
    used_before: tuple[tuple[date, str], ...]
    periods: tuple[PeriodRow, ...]
    taxes: tuple[TaxRow, ...]
    cost: str
    amount_minor: int


@dataclass(frozen=True)
class WearRow:
    """What a part costs, divided by its life, times what this firing used of it."""

    text: str
    replacement_cost_minor: int
    life: str
    unit: str
    used: str
    amount_minor: int
    left_minor: int | None
    spread_minor: int | None
    alloy: str


@dataclass(frozen=True)
class LayerRow:
    """Area times the height above its shelf."""

    layer: str
    area: str
    height: str
    volume: str


@dataclass(frozen=True)
class SplitStep:
    """`fixed_minor` is carried alike by all slips, `rest_minor` by area, or by area times height;
    `mine` and `whole` are what that is divided by."""

    area: str
    total: str
    mine: str
    whole: str
    percent: str
    quota: str
    rounding: str
    amount_minor: int
    is_of_usable_area: bool
    fixed_minor: int
    rest_minor: int
    bookings: int
    layers: tuple[LayerRow, ...]


@dataclass(frozen=True)
class ChargeRow:
    """A step after the split, and how it was worked out."""

    text: str
    amount_minor: int
    sentence: str


@dataclass(frozen=True)
class Derivation:
    energy: EnergyStep | None
    wear: tuple[WearRow, ...]
    other: tuple[CostLine, ...]
    lines: tuple[CostLine, ...]
    pool_minor: int
    split: SplitStep | None
    steps: tuple[ChargeRow, ...]
    studio_reason: str


@dataclass(frozen=True)
class _Figures:
    """Writes exact numbers in one language."""

    currency: str
    locale: str

    def exact(self, number: Decimal | str, places: str = "#,##0.##########") -> str:
        return str(format_decimal(Decimal(number), places, locale=self.locale))

    def kwh(self, energy_wh: int) -> str:
        return self.exact(Decimal(energy_wh).scaleb(-3), "#,##0.000")

    def cm(self, height_mm: int) -> str:
        return self.exact(Decimal(height_mm).scaleb(-1), "#,##0.0")

    def cm3(self, weight_mm3: int) -> str:
        return self.exact(Decimal(weight_mm3).scaleb(-3), "#,##0.000")

    def cm2(self, area_mm2: int) -> str:
        return self.exact(Decimal(area_mm2).scaleb(-2), "#,##0.00")

    def quota(self, quota_minor: str) -> str:
        """In whole currency units, cut and not rounded, so that the whole part stays its own."""
        digits = minor_digits(self.currency) + QUOTA_DIGITS_MORE
        quota = Decimal(quota_minor).scaleb(-minor_digits(self.currency))
        cut = quota.quantize(Decimal(1).scaleb(-digits), ROUND_DOWN)
        return self.exact(cut) if cut == quota else f"{self.exact(cut)}…"


def derivation_of(share: Share, currency: str, locale: str) -> Derivation:
    """The steps that led to a share. Three queries: the lines and what `share` brings along."""
    lines = tuple(share.cost.lines.all())
    figures = _Figures(currency, locale)
    energy = next((line for line in lines if line.kind == CostKind.ENERGY), None)
    return Derivation(
        energy=_energy(energy, share.cost.firing, figures) if energy else None,
        wear=tuple(_wear(line, figures) for line in lines if line.kind == CostKind.WEAR),
        other=tuple(line for line in lines if line.kind not in (CostKind.ENERGY, CostKind.WEAR)),
        lines=lines,
        pool_minor=share.cost.pool_minor,
        split=_split(share.working.get("split") or {}, figures),
        steps=_steps(share.working),
        studio_reason=share.cost.studio_reason,
    )


def _energy(line: CostLine, firing: Firing, figures: _Figures) -> EnergyStep:
    working = line.working
    energy_wh = working.get("energy_wh", 0)
    start_wh, end_wh = _registers(firing, energy_wh)
    periods: Sequence[dict[str, Any]] = working.get("periods", ())
    is_as_measured = firing.energy_wh == energy_wh
    uncertainty_wh = firing.energy_uncertainty_wh if is_as_measured else None
    return EnergyStep(
        kwh=figures.kwh(energy_wh),
        uncertainty_kwh="" if uncertainty_wh is None else figures.kwh(2 * uncertainty_wh),
        source=ENERGY_SOURCES.get(working.get("source", ""), ""),
        meter_start_kwh="" if start_wh is None else figures.kwh(start_wh),
        meter_end_kwh="" if end_wh is None else figures.kwh(end_wh),
        tariff=working.get("tariff", ""),
        used_before=tuple(
            (date.fromisoformat(month), figures.kwh(used_wh))
            for month, used_wh in working.get("used_before_wh", {}).items()
        ),
        taxes=tuple(_tax(tax, figures) for tax in working.get("taxes", ())),
        periods=tuple(
            PeriodRow(
                period["name"],
                figures.kwh(period["energy_wh"]),
                figures.exact(period["price_per_kwh"]),
                figures.exact(period["cost"]),
            )
            for period in periods
        ),
        cost=figures.exact(
            sum((Decimal(row["cost"]) for row in (*periods, *working.get("taxes", ()))), Decimal(0))
        ),
        amount_minor=line.amount_minor,
    )


def _tax(tax: dict[str, Any], figures: _Figures) -> TaxRow:
    rate = figures.exact(tax["rate"])
    return TaxRow(
        tax["name"],
        figures.exact(tax["base"]) if tax["is_percent"] else f"{figures.exact(tax['base'])} kWh",
        f"{rate} %" if tax["is_percent"] else rate,
        figures.exact(tax["cost"]),
    )


def _registers(firing: Firing, energy_wh: int) -> tuple[int | None, int | None]:
    """The meter's readings, where they are what the energy came from."""
    start_wh, end_wh = firing.register_start_wh, firing.register_end_wh
    if start_wh is None or end_wh is None or end_wh - start_wh != energy_wh:
        return None, None
    return start_wh, end_wh


def _wear(line: CostLine, figures: _Figures) -> WearRow:
    working = line.working
    unit = LifeUnit(working["life_unit"]).label
    is_capped = working["uncapped_minor"] > line.amount_minor
    return WearRow(
        text=line.text,
        replacement_cost_minor=working["replacement_cost_minor"],
        life=figures.exact(working.get("spread_units", working["expected_life_units"])),
        unit=str(unit),
        used=figures.exact(working["units"]),
        amount_minor=line.amount_minor,
        left_minor=working["left_to_charge_minor"] if is_capped else None,
        spread_minor=_spread_minor(working),
        alloy=Alloy(working["alloy"]).label if working.get("alloy") else "",
    )


def _spread_minor(working: Mapping[str, Any]) -> int | None:
    """What was left to save when cost or life were estimated anew; None before that."""
    spread_units = working.get("spread_units", working["expected_life_units"])
    return None if spread_units == working["expected_life_units"] else working["spread_minor"]


def _split(split: dict[str, Any], figures: _Figures) -> SplitStep | None:
    if not split:
        return None
    # Shares of before there were other rules say nothing of them.
    weight = split.get("weight", split["area_mm2"])
    weight_divisor = split.get("weight_divisor", split["divisor_mm2"])
    fixed_minor = split.get("fixed_minor", 0)
    by_height = bool(split.get("layers"))
    part = Decimal(weight) / Decimal(weight_divisor)
    return SplitStep(
        area=figures.cm2(split["area_mm2"]),
        total=figures.cm2(split["divisor_mm2"]),
        mine=figures.cm3(weight) if by_height else figures.cm2(weight),
        whole=figures.cm3(weight_divisor) if by_height else figures.cm2(weight_divisor),
        percent=str(format_percent(part, "0.0 %", locale=figures.locale)),
        quota=figures.quota(split["quota_minor"]),
        rounding=split["rounding"],
        amount_minor=split["amount_minor"],
        is_of_usable_area=split["policy"] == "capacity",
        fixed_minor=fixed_minor,
        rest_minor=split["pool_minor"] - fixed_minor,
        bookings=split.get("bookings", 1),
        layers=tuple(_layer(one, figures) for one in split.get("layers", ())),
    )


def _layer(one: Mapping[str, Any], figures: _Figures) -> LayerRow:
    return LayerRow(
        one["layer"],
        figures.cm2(one["area_mm2"]),
        figures.cm(one["height_mm"]),
        figures.cm3(one["area_mm2"] * one["height_mm"]),
    )


def _steps(working: Mapping[str, Any]) -> tuple[ChargeRow, ...]:
    """The steps with the sentences that tell of them: those before the last, which sums them."""
    steps = working.get("steps") or ()
    sentences = working["sentences"][-len(steps) - 1 : -1]
    return tuple(
        ChargeRow(step["text"], step["amount_minor"], sentence)
        for step, sentence in zip(steps, sentences if steps else (), strict=True)
    )
