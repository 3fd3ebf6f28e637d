"""The parts that pages are made of. Each has a template in studio/parts and stands on /style/."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import template
from django.forms import BaseForm, BaseFormSet, BoundField
from django.template.loader import get_template
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString

from studio.pages.cautions import CAUTIONS, WHO_DECIDES
from studio.pages.home import Panel
from studio.pages.steps import Step
from studio.pages.words import words_of
from studio.templatetags import measures

register = template.Library()

ALERTS = {"info": "Note", "good": "Done", "warning": "Warning", "danger": "Problem"}


def _trimmed(content: str) -> SafeString:
    # strip() of rendered, safe text would be escaped again.
    return SafeString(content.strip())


def _part(name: str, /, **context: Any) -> str:
    return get_template(f"studio/parts/{name}.html").render(context)


# --- Blocks with content --------------------------------------------------------------------
@register.simple_block_tag
def heading(
    content: str, title: str, lead: str = "", back: str = "", back_label: str = "Back"
) -> str:
    """The page's h1 with its actions; `back` is an address or the name of one."""
    if back and not back.startswith("/"):
        back = reverse(back)
    return _part(
        "heading",
        title=title,
        lead=lead,
        back=back,
        back_label=back_label,
        actions=_trimmed(content),
    )


@register.simple_block_tag
def alert(content: str, kind: str, title: str = "") -> str:
    """A box that tells something; the kind is said in words as well as in colour."""
    return _part("alert", kind=kind, word=ALERTS[kind], title=title, content=_trimmed(content))


@register.simple_block_tag
def caution(content: str, kind: str) -> str:
    """The usual caution for heat, electricity, dust, fumes or lifting."""
    title, text = CAUTIONS[kind]
    return _part(
        "caution", kind=kind, title=title, text=text, who=WHO_DECIDES, content=_trimmed(content)
    )


@register.simple_block_tag
def card(content: str, title: str = "", anchor: str = "", level: int = 2) -> str:
    """A section with a heading of its own."""
    return _part("card", title=title, anchor=anchor, level=level, content=content)


@register.simple_block_tag
def facts(content: str) -> SafeString:
    """A list of names and values, filled by `fact`."""
    return format_html('<dl class="facts">{}</dl>', content)


@register.simple_block_tag
def fact(content: str, name: str) -> SafeString:
    """One name with its value."""
    return format_html('<div class="fact"><dt>{}</dt><dd>{}</dd></div>', name, _trimmed(content))


@register.simple_block_tag
def reflow_table(content: str, caption: str, show_caption: bool = False) -> str:
    """A table whose rows become cards on a phone: each td says its column in data-label."""
    return _part("table", caption=caption, show_caption=show_caption, content=content, wide=False)


@register.simple_block_tag
def wide_table(content: str, caption: str, show_caption: bool = False) -> str:
    """A grid of figures that scrolls sideways where it does not fit."""
    return _part("table", caption=caption, show_caption=show_caption, content=content, wide=True)


@register.simple_block_tag
def nothing(content: str, title: str) -> str:
    """What stands where a list has nothing in it, with what to do next."""
    return _part("nothing", title=title, content=_trimmed(content))


# --- Forms ----------------------------------------------------------------------------------
@register.simple_tag
def field(bound: BoundField, label: str = "") -> str:
    """One field: label, help, input and errors, tied together for screen readers."""
    widget = bound.field.widget
    kind = "check" if getattr(widget, "input_type", "") == "checkbox" else "line"
    if widget.use_fieldset:
        kind = "group"
    if bound.is_hidden:
        kind = "hidden"
    return _part("field", field=bound, kind=kind, label=label or bound.label)


@register.simple_tag
def form_fields(form: BaseForm) -> SafeString:
    """All fields of a form, hidden ones too."""
    return SafeString("".join(field(bound) for bound in form))


@register.simple_tag
def form_errors(form: BaseForm) -> str:
    """What is wrong with the form as a whole, and a way to each field that needs work."""
    wrong = [bound for bound in form if bound.errors and not bound.is_hidden]
    return _part("form_errors", form=form, wrong=wrong)


@register.simple_tag
def rows(formset: BaseFormSet[Any], more: str, title: str = "") -> str:
    """The rows of a FormWithRows, with a button for more of them."""
    return _part("rows", formset=formset, more=more, title=title)


@register.simple_tag(takes_context=True)
def form_card(
    context: template.Context,
    form: BaseForm,
    submit: str,
    action: str = "",
    cancel: str = "",
    more: str = "Another row",
    row: str = "",
    style: str = "",
) -> str:
    """A whole form with its one button; `cancel` is an address or the name of one."""
    if cancel and not cancel.startswith("/"):
        cancel = reverse(cancel)
    return _part(
        "form_card",
        form=form,
        formset=getattr(form, "rows", None),
        submit=submit,
        action=action,
        cancel=cancel,
        more=more,
        row=row,
        style=style,
        csrf_token=context.get("csrf_token", ""),
    )


@register.simple_tag(takes_context=True)
def deed(
    context: template.Context,
    url: str,
    label: str,
    style: str = "",
    confirm: str = "",
    about: str = "",
    **values: Any,
) -> str:
    """A button that posts; `about` names the thing for screen readers, values are sent along."""
    return _part(
        "deed",
        url=url,
        label=label,
        style=style,
        confirm=confirm,
        about=about,
        values=values,
        csrf_token=context.get("csrf_token", ""),
    )


# --- Small parts ----------------------------------------------------------------------------
@register.simple_tag
def state(kind: str, value: str) -> SafeString:
    """A badge with the words for a state; its colour and mark only repeat them."""
    label, tone = words_of(kind, str(value))
    return format_html('<span class="badge tone-{}">{}</span>', tone, label)


@register.simple_tag
def word(kind: str, value: str) -> str:
    """The words for a state, without a badge."""
    return words_of(kind, str(value))[0]


@register.simple_tag(takes_context=True)
def steps(context: template.Context, of: Sequence[Step], label: str = "Progress") -> str:
    """The way of a pot or a firing; what is now is marked in words too."""
    return _part("steps", steps=of, label=label, studio=context.get("studio"))


@register.simple_tag(takes_context=True)
def pages(context: template.Context, page: Any, name: str = "page") -> str:
    """Previous and next of a page of a long list; keeps what was filtered for."""
    request = context.get("request")
    query = request.GET.copy() if request else None
    if query is not None:
        query.pop(name, None)
    kept = f"{query.urlencode()}&" if query else ""
    return _part("pages", page=page, name=name, kept=kept)


@register.simple_tag(takes_context=True)
def panel(context: template.Context, shown: Panel) -> str:
    """One panel of the home page, with what the page itself knows."""
    with context.push(**shown.context):
        inner = get_template(shown.template).template  # type: ignore[attr-defined]
        return SafeString(inner.render(context))


@register.inclusion_tag("studio/parts/live_script.html")
def live_script() -> dict[str, Any]:
    """The script of live regions, for pages that have one."""
    return {}


register.tags.update(measures.register.tags)
