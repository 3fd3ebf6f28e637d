"""The working that is kept with each share: its figures, and the sentences a member reads."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import ROUND_DOWN, Decimal
from typing import Any

from babel.numbers import format_decimal, format_percent

from billing.actions.pool import PoolLine
from billing.calculations.working import (
    ShareWords,
    pool_sentence,
    share_sentence,
    studio_sentence,
)
from studio.calculations.money import format_minor, minor_digits
from studio.calculations.quantities import NO_BREAK_SPACE, format_area
from studio.models import Studio

EXTRA_DIGITS = 2


def booking_working(
    lines: Sequence[PoolLine], share: Mapping[str, Any], studio: Studio
) -> dict[str, Any]:
    """From reading to cent: the pool's lines, the split's figures, and it all in words."""
    pool = format_minor(share["pool_minor"], studio.currency, studio.language)
    words = ShareWords(
        pool=pool,
        area=_area(share["area_mm2"], studio),
        total_area=_area(share["divisor_mm2"], studio),
        percent=_percent(share["area_mm2"], share["divisor_mm2"], studio),
        quota=_exact(share["quota_minor"], studio),
        amount=format_minor(share["amount_minor"], studio.currency, studio.language),
        rounding=share["rounding"],
        is_of_usable_area=share["policy"] == "capacity",
    )
    sentences = [
        *_line_sentences(lines),
        _pool_sentence(lines, share["pool_minor"], studio),
        share_sentence(words),
    ]
    return {"pool": _pool_json(lines), "split": dict(share), "sentences": sentences}


def carried_working(lines: Sequence[PoolLine], reason: str, studio: Studio) -> dict[str, Any]:
    """The working of a share of nothing: what the firing cost, and why the studio carries it."""
    pool_minor = sum(line.amount_minor for line in lines)
    sentences = [
        *_line_sentences(lines),
        _pool_sentence(lines, pool_minor, studio),
        studio_sentence(reason),
    ]
    return {"pool": _pool_json(lines), "split": {}, "sentences": sentences}


def _line_sentences(lines: Sequence[PoolLine]) -> list[str]:
    return [str(line.working["sentence"]) for line in lines if line.amount_minor]


def _pool_sentence(lines: Sequence[PoolLine], pool_minor: int, studio: Studio) -> str:
    parts = [
        (line.text, format_minor(line.amount_minor, studio.currency, studio.language))
        for line in lines
        if line.amount_minor
    ]
    return pool_sentence(parts, format_minor(pool_minor, studio.currency, studio.language))


def _pool_json(lines: Sequence[PoolLine]) -> list[dict[str, Any]]:
    return [
        {"kind": line.kind.value, "text": line.text, "amount_minor": line.amount_minor}
        for line in lines
    ]


def _area(area_mm2: int, studio: Studio) -> str:
    """Exact, so that the sum can be repeated: a square centimetre has 100 square millimetres."""
    if studio.length_unit == "in":
        return f"{format_area(area_mm2, 'in2', studio.language)} ({area_mm2} mm²)"
    exact_cm2 = Decimal(area_mm2).scaleb(-2)
    return f"{format_decimal(exact_cm2, '#,##0.00', locale=_locale(studio))}{NO_BREAK_SPACE}cm²"


def _percent(area_mm2: int, divisor_mm2: int, studio: Studio) -> str:
    part = Decimal(area_mm2) / Decimal(divisor_mm2)
    return format_percent(part, f"0.0{NO_BREAK_SPACE}%", locale=_locale(studio))


def _exact(quota_minor: str, studio: Studio) -> str:
    """The share before rounding, with two more decimals than money has, cut and not rounded."""
    digits = minor_digits(studio.currency) + EXTRA_DIGITS
    quota = Decimal(quota_minor).scaleb(-minor_digits(studio.currency))
    cut = quota.quantize(Decimal(1).scaleb(-digits), ROUND_DOWN)
    shown = format_decimal(cut, f"#,##0.{'0' * digits}", locale=_locale(studio))
    return shown if cut == quota else f"{shown}…"


def _locale(studio: Studio) -> str:
    """The studio's language as Babel writes it: en_CA for en-CA."""
    return studio.language.replace("-", "_")
