"""The one way a page answers what a person sent: with a form, or with a single button."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.forms import Form
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render, resolve_url

from studio.pages.rows import FormWithRows
from studio.refusals import Refusal

FORM_INVALID = 422

Destination = str | Callable[[Any], Any]


def answer_form(
    request: HttpRequest,
    make_form: Callable[..., Form],
    template: str,
    act: Callable[[dict[str, Any]], Any],
    *,
    then: Destination,
    context: dict[str, Any] | None = None,
    done: str | Callable[[Any], str] = "",
    initial: dict[str, Any] | None = None,
) -> HttpResponse:
    """Show a form; when it is sent, check it, do `act(cleaned)`, say so and go to `then`.

    `make_form` is a form class or a partial of one, called with data, files and initial. What
    was typed stays in the form when it is invalid (422) or when `act` raises a refusal, whose
    message stands at its field and whose status is the answer's.
    """
    beforehand = {} if initial is None else {"initial": initial}
    if request.method != "POST":
        form = make_form(**beforehand)
        return render(request, template, {**(context or {}), "form": form})
    form = make_form(data=request.POST, files=request.FILES, **beforehand)
    if isinstance(form, FormWithRows) and form.wants_more_rows():
        form.add_blank_rows()
        return render(request, template, {**(context or {}), "form": form})
    status = FORM_INVALID
    if form.is_valid():
        try:
            return _go_on(request, act(form.cleaned_data), done, then)
        except Refusal as refusal:
            _put_refusal(form, refusal)
            status = refusal.status
    return render(request, template, {**(context or {}), "form": form}, status=status)


def answer_deed(
    request: HttpRequest,
    act: Callable[[], Any],
    *,
    then: Destination,
    done: str | Callable[[Any], str] = "",
) -> HttpResponse:
    """Do what a single button asks, say so and go to `then`.

    A refusal goes on to the middleware, which tells the person on the page they came from.
    """
    return _go_on(request, act(), done, then)


def _go_on(
    request: HttpRequest, result: Any, done: str | Callable[[Any], str], then: Destination
) -> HttpResponse:
    message = done(result) if callable(done) else done
    if message:
        messages.success(request, message)
    answer = HttpResponseRedirect(resolve_url(then(result) if callable(then) else then))
    answer.status_code = 303
    return answer


def _put_refusal(form: Form, refusal: Refusal) -> None:
    if isinstance(form, FormWithRows) and form.put_row_error(refusal.field or "", refusal.message):
        return
    # A field that this form does not show would swallow the message.
    visible = {field.name for field in form.visible_fields()}
    # A message of several lines is a list of faults.
    form.add_error(
        refusal.field if refusal.field in visible else None, refusal.message.splitlines()
    )
