"""A visitor who knows only the studio's address: follows links, sends the forms it finds."""

from __future__ import annotations

from pathlib import Path
from urllib.parse import urljoin

import lxml.html
import requests

Value = str | list[str] | bool


class Visitor:
    """One person's browser without JavaScript: cookies, pages, forms."""

    def __init__(self, address: str) -> None:
        self.address = address
        self.line = requests.Session()
        self.line.trust_env = False
        self.url = address
        self.content = b""
        self.page: lxml.html.HtmlElement | None = None

    def go(self, path: str, *, status: int = 200) -> Visitor:
        """Open a page; any answer but the expected one is a failure of the walk."""
        self._take(self.line.get(urljoin(self.address, path)), status)
        return self

    @property
    def text(self) -> str:
        """What the page says, in one line."""
        assert self.page is not None
        return " ".join(self.page.text_content().split())

    def follow(self, label: str) -> Visitor:
        """Follow the first link with these words."""
        assert self.page is not None
        links = [a for a in self.page.iter("a") if label in " ".join(a.text_content().split())]
        assert links, f"no link {label!r} on {self.url}: {self.text[:800]}"
        return self.go(urljoin(self.url, links[0].get("href")))

    def send(self, button: str, *, files: dict[str, Path] | None = None, **typed: Value) -> Visitor:
        """Fill the form that has this button, and press it.

        Field names may be written with `__` for `-`. A field that the form does not have is a
        mistake of the walk, as it is one of a person.
        """
        form = self._form_with(button)
        sent = [(name, value) for name, value in _values(form) if name not in _names(typed)]
        for name, value in typed.items():
            field = name.replace("__", "-")
            known = {one.get("name") for one in form.iter("input", "select", "textarea")}
            assert field in known, f"{field!r} is not in the form: {sorted(filter(None, known))}"
            sent += [(field, one) for one in (value if isinstance(value, list) else [value])]
        pressed = self._button(form, button)
        if pressed.get("name"):
            sent.append((pressed.get("name"), pressed.get("value", "")))
        to = urljoin(self.url, pressed.get("formaction") or form.get("action") or self.url)
        opened = {name: (path.name, path.read_bytes()) for name, path in (files or {}).items()}
        send = self.line.get if form.method.upper() == "GET" else self.line.post
        if form.method.upper() == "GET":
            self._take(send(to, params=sent))
        else:
            headers = {"Referer": self.url}
            self._take(send(to, data=sent, files=opened or None, headers=headers))
        return self

    def choice(self, name: str, words: str) -> str:
        """The value of the choice with these words: an option, a radio button or a tick box."""
        assert self.page is not None
        for option in self.page.iter("option"):
            select = option.iterancestors("select")
            if next(select).get("name") == name and words in option.text_content():
                return str(option.get("value"))
        for box in self.page.iter("input"):
            is_named = box.get("name") == name and box.label is not None
            if is_named and words in box.label.text_content():
                return str(box.get("value"))
        raise AssertionError(f"no choice {words!r} for {name!r} on {self.url}")

    def _take(self, answer: requests.Response, status: int = 200) -> None:
        is_page = "html" in answer.headers["Content-Type"]
        self.page = lxml.html.fromstring(answer.text) if is_page else None
        self.url, self.content = answer.url, answer.content
        said = self.text if is_page else answer.text
        assert answer.status_code == status, (
            f"{answer.status_code} from {answer.url}: {said[:1500]}"
        )

    def _form_with(self, button: str) -> lxml.html.FormElement:
        assert self.page is not None
        forms = [form for form in self.page.forms if self._button(form, button) is not None]
        assert forms, f"no form with {button!r} on {self.url}: {self.text[:1500]}"
        return forms[0]

    @staticmethod
    def _button(form: lxml.html.FormElement, label: str) -> lxml.html.HtmlElement | None:
        buttons = [one for one in form.iter("button", "input") if _is_button(one)]
        named = [one for one in buttons if label in _label(one)]
        return named[0] if named else None


def _values(form: lxml.html.FormElement) -> list[tuple[str, str]]:
    """What the form would send as it stands."""
    sent: list[tuple[str, str]] = []
    for one in form.iter("input", "select", "textarea"):
        name, kind = one.get("name"), one.get("type", "text")
        if not name or kind in ("submit", "button", "file") or one.get("disabled") is not None:
            continue
        if one.tag == "input" and kind in ("checkbox", "radio"):
            if one.get("checked") is not None:
                sent.append((name, one.get("value", "on")))
        elif one.tag == "input":
            sent.append((name, one.get("value", "")))
        else:
            values = one.value if isinstance(one.value, set | list) else [one.value]
            sent += [(name, value or "") for value in values]
    return sent


def _names(typed: dict[str, Value]) -> set[str]:
    return {name.replace("__", "-") for name in typed}


def _is_button(element: lxml.html.HtmlElement) -> bool:
    return element.tag == "button" or element.get("type") == "submit"


def _label(element: lxml.html.HtmlElement) -> str:
    return " ".join(element.text_content().split()) or element.get("value", "")
