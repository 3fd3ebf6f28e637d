"""The working that is kept with each share: its figures, and the sentences a member reads."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_DOWN, Decimal
from typing import Any

from babel.numbers import format_decimal, format_percent

from billing.actions.membership_terms import CrewCredit
from billing.actions.pool import PoolLine
from billing.actions.split_firing import Split
from billing.calculations import charge_words
from billing.calculations.memberships import BookingCharge, Step
from billing.calculations.sharing_rules import OnLayer
from billing.calculations.working import (
    ShareWords,
    fixed_sentence,
    pool_sentence,
    share_sentence,
    studio_sentence,
)
from billing.models import FixedKind, MembershipKind
from studio.calculations.money import format_minor, minor_digits
from studio.calculations.quantities import NO_BREAK_SPACE, format_area
from studio.models import Studio

EXTRA_DIGITS = 2


def booking_working(split: Split, number: int, studio: Studio) -> dict[str, Any]:
    """From reading to cent for the booking at a place in the split: the pool's lines, the split's
    figures, the steps after it, and it all in words. The last `own_count` sentences are about
    this booking alone."""
    share = split.result.shares[number].working
    charge = split.charges[number]
    figures = _Figures(studio)
    standing = split.weights.standing[charge.booking_number] if split.weights else ()
    own = [
        share_sentence(_share_words(share, standing, not charge.steps, figures)),
        *_step_sentences(split, charge, figures),
    ]
    shared = [
        *_line_sentences(split.lines),
        _pool_sentence(split.lines, share["pool_minor"], figures),
        *_fixed_sentences(split, share, figures),
    ]
    names = split.weights.names if split.weights else {}
    return {
        "pool": _pool_json(split.lines),
        "split": {**share, "layers": [_layer_json(one, names) for one in standing]},
        "steps": [_step_json(split, step) for step in charge.steps],
        "charged_minor": charge.charged_minor,
        "own_count": len(own),
        "sentences": [*shared, *own],
    }


def carried_working(lines: Sequence[PoolLine], reason: str, studio: Studio) -> dict[str, Any]:
    """The working of a share of nothing: what the firing cost, and why the studio carries it."""
    pool_minor = sum(line.amount_minor for line in lines)
    sentences = [
        *_line_sentences(lines),
        _pool_sentence(lines, pool_minor, _Figures(studio)),
        studio_sentence(reason),
    ]
    return {"pool": _pool_json(lines), "split": {}, "sentences": sentences}


def crew_sentence(credit: CrewCredit, studio: Studio) -> str:
    """How the credit for somebody's work came about."""
    figures, membership = _Figures(studio), credit.holding.membership
    if membership.kind == MembershipKind.CREW_HOUR:
        rule = f"{figures.money(membership.amount_minor)} × {credit.minutes} ÷ 60 minutes"
    elif membership.kind == MembershipKind.CREW_PERCENT:
        rule = f"{figures.money(credit.charged_minor)} × {figures.bp(membership.basis_points)}"
    else:
        rule = "for each firing"
    return charge_words.crew_words(
        membership.name, credit.person.name, rule, figures.money(credit.amount_minor)
    )


@dataclass(frozen=True)
class _Figures:
    """Writes amounts, areas and percentages as the studio's readers do, exactly."""

    studio: Studio

    def money(self, amount_minor: int) -> str:
        return format_minor(amount_minor, self.studio.currency, self.studio.language)

    def signed(self, amount_minor: int) -> str:
        return f"{'−' if amount_minor < 0 else '+'} {self.money(abs(amount_minor))}"

    def area(self, area_mm2: int) -> str:
        """So that the sum can be repeated: a square centimetre has 100 square millimetres."""
        if self.studio.length_unit == "in":
            return f"{format_area(area_mm2, 'in2', self.studio.language)} ({area_mm2} mm²)"
        return self._decimal(Decimal(area_mm2).scaleb(-2), "#,##0.00", "cm²")

    def layer(self, one: OnLayer) -> str:
        if self.studio.length_unit == "in":
            return f"{one.area_mm2} mm² × {one.height_mm} mm"
        height = self._decimal(Decimal(one.height_mm).scaleb(-1), "#,##0.0", "cm")
        return f"{self.area(one.area_mm2)} × {height}"

    def volume(self, weight_mm3: int) -> str:
        if self.studio.length_unit == "in":
            return f"{weight_mm3} mm³"
        return self._decimal(Decimal(weight_mm3).scaleb(-3), "#,##0.000", "cm³")

    def percent(self, part: int, whole: int) -> str:
        share = Decimal(part) / Decimal(whole)
        return str(format_percent(share, f"0.0{NO_BREAK_SPACE}%", locale=self._locale))

    def bp(self, basis_points: int) -> str:
        percent = Decimal(basis_points).scaleb(-4)
        return str(format_percent(percent, f"0.##{NO_BREAK_SPACE}%", locale=self._locale))

    def quota(self, quota_minor: str) -> str:
        """The share before rounding, with two more decimals than money has, cut and not rounded."""
        digits = minor_digits(self.studio.currency) + EXTRA_DIGITS
        quota = Decimal(quota_minor).scaleb(-minor_digits(self.studio.currency))
        cut = quota.quantize(Decimal(1).scaleb(-digits), ROUND_DOWN)
        shown = format_decimal(cut, f"#,##0.{'0' * digits}", locale=self._locale)
        return shown if cut == quota else f"{shown}…"

    def _decimal(self, number: Decimal, pattern: str, unit: str) -> str:
        return f"{format_decimal(number, pattern, locale=self._locale)}{NO_BREAK_SPACE}{unit}"

    @property
    def _locale(self) -> str:
        """The studio's language as Babel writes it: en_CA for en-CA."""
        return self.studio.language.replace("-", "_")


def _share_words(
    share: Mapping[str, Any], standing: Sequence[OnLayer], is_all: bool, figures: _Figures
) -> ShareWords:
    fixed_minor = share["fixed_minor"]
    return ShareWords(
        pool=figures.money(share["pool_minor"] - fixed_minor),
        area=figures.area(share["area_mm2"]),
        total_area=figures.area(share["divisor_mm2"]),
        percent=figures.percent(share["weight"], share["weight_divisor"]),
        quota=figures.quota(share["quota_minor"]),
        amount=figures.money(share["amount_minor"]),
        rounding=share["rounding"],
        is_of_usable_area=share["policy"] == "capacity",
        fixed=figures.money(fixed_minor) if fixed_minor else "",
        bookings=share["bookings"],
        layers=[figures.layer(one) for one in standing],
        weight=figures.volume(share["weight"]) if standing else "",
        total_weight=figures.volume(share["weight_divisor"]) if standing else "",
        is_all=is_all,
    )


def _fixed_sentences(split: Split, share: Mapping[str, Any], figures: _Figures) -> list[str]:
    fixed_minor = share["fixed_minor"]
    if not fixed_minor:
        return []
    by_percent = split.rule["fixed_kind"] == FixedKind.PERCENT
    percent = figures.bp(100 * split.rule["fixed_percent"])
    rule = f"{percent} of the electricity" if by_percent else "as the studio estimates"
    rest = figures.money(share["pool_minor"] - fixed_minor)
    return [fixed_sentence(figures.money(fixed_minor), rule, share["bookings"], rest)]


def _step_sentences(split: Split, charge: BookingCharge, figures: _Figures) -> list[str]:
    if not charge.steps:
        return []
    signed = [figures.signed(step.amount_minor) for step in charge.steps]
    split_amount, charged = figures.money(charge.split_minor), figures.money(charge.charged_minor)
    return [
        *(_step_sentence(_name_of(split, step), step, figures) for step in charge.steps),
        charge_words.charged_words(split_amount, signed, charged),
    ]


def _step_sentence(name: str, step: Step, figures: _Figures) -> str:
    working, amount = step.working, figures.money(abs(step.amount_minor))
    before = figures.money(working["before_minor"])
    if step.kind == "minimum":
        least = figures.money(working["minimum_minor"])
        return charge_words.minimum_words(least, before, amount)
    if step.kind == "surcharge":
        percent = figures.bp(working["basis_points"])
        return charge_words.surcharge_words(name, percent, before, amount)
    if step.kind == "subsidy":
        percent = figures.bp(working["basis_points"])
        return charge_words.subsidy_words(name, percent, before, amount)
    if step.kind == "amount_allowance":
        left = figures.money(working["left_before_minor"])
        return charge_words.amount_allowance_words(name, left, amount)
    left, free, area = (
        figures.area(working[key]) for key in ("left_before_mm2", "free_mm2", "area_mm2")
    )
    return charge_words.area_allowance_words(name, left, free, area, before, amount)


def _name_of(split: Split, step: Step) -> str:
    return "" if step.key is None else split.held[step.key].membership.name


def _step_json(split: Split, step: Step) -> dict[str, Any]:
    return {
        "kind": step.kind,
        "text": _name_of(split, step) or "Minimum charge",
        "amount_minor": step.amount_minor,
        **step.working,
    }


def _layer_json(one: OnLayer, names: Mapping[int, str]) -> dict[str, Any]:
    return {"layer": names[one.layer], "area_mm2": one.area_mm2, "height_mm": one.height_mm}


def _line_sentences(lines: Sequence[PoolLine]) -> list[str]:
    return [str(line.working["sentence"]) for line in lines if line.amount_minor]


def _pool_sentence(lines: Sequence[PoolLine], pool_minor: int, figures: _Figures) -> str:
    parts = [(line.text, figures.money(line.amount_minor)) for line in lines if line.amount_minor]
    return pool_sentence(parts, figures.money(pool_minor))


def _pool_json(lines: Sequence[PoolLine]) -> list[dict[str, Any]]:
    return [
        {"kind": line.kind.value, "text": line.text, "amount_minor": line.amount_minor}
        for line in lines
    ]
