"""The words for states, in one place: each app registers its own when it is ready."""

from __future__ import annotations

from collections.abc import Mapping

# A tone is a colour and a mark that goes with the words, never instead of them.
TONES = ("wait", "work", "hot", "cool", "good", "bad", "off")

_words: dict[str, dict[str, tuple[str, str]]] = {}


def register_words(kind: str, states: Mapping[str, tuple[str, str]]) -> None:
    """Words and tone for each state of a kind of record: {"ready": ("Ready", "good")}."""
    for state, (_label, tone) in states.items():
        if tone not in TONES:
            raise ValueError(f"tone of {kind} {state} is {tone!r}: one of {TONES}")
    _words.setdefault(kind, {}).update(states)


def words_of(kind: str, state: str) -> tuple[str, str]:
    """The words and the tone of a state; a state without words is a fault of the program."""
    try:
        return _words[kind][state]
    except KeyError:
        raise LookupError(f"no words are registered for {kind} {state!r}") from None


def known_words() -> Mapping[str, Mapping[str, tuple[str, str]]]:
    """Every kind with its states, for the style page and for tests."""
    return _words
