"""Exact numbers of a bill as a reader sees them."""

from __future__ import annotations

from fractions import Fraction

from django import template

from billing.actions.month_charge_words import exact_words, quantity_words
from billing.calculations.bill import BillLine
from studio.models import Studio

register = template.Library()


@register.simple_tag(takes_context=True)
def exact(context: template.Context, number: Fraction) -> str:
    """With up to six decimals, cut and marked where it has more."""
    studio = context.get("studio") or Studio.current()
    return exact_words(Fraction(number), studio)


@register.simple_tag(takes_context=True)
def quantity(context: template.Context, line: BillLine) -> str:
    """How much of what: 445.259 kWh, 1 month."""
    return quantity_words(line, context.get("studio") or Studio.current())
