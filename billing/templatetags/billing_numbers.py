"""Exact numbers of a bill as a reader sees them."""

from __future__ import annotations

from fractions import Fraction

from django import template

from billing.actions.month_charge_words import exact_words
from studio.models import Studio

register = template.Library()


@register.simple_tag(takes_context=True)
def exact(context: template.Context, number: Fraction) -> str:
    """With up to six decimals, cut and marked where it has more."""
    studio = context.get("studio") or Studio.current()
    return exact_words(Fraction(number), studio)
