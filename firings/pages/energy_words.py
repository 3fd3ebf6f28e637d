"""How the energy of a firing is told: the number, where it is from and how sure it is."""

from __future__ import annotations

from firings.calculations.energy import (
    DUTY,
    ESTIMATE,
    HISTORY,
    INTERVAL_METER,
    METER_REGISTER,
    POWER_SAMPLES,
)
from firings.models import Firing

SOURCE_WORDS = {
    METER_REGISTER: "from the meter's register",
    INTERVAL_METER: "from the intervals of the utility's meter",
    POWER_SAMPLES: "from the power in the log",
    DUTY: "from the elements' duty in the log and the kiln's rated power",
    HISTORY: "the middle of like firings of this kiln",
    ESTIMATE: "a rough estimate from the hours of heating",
}


def source_words(firing: Firing) -> str:
    """Where the energy of a firing is from."""
    return SOURCE_WORDS.get(firing.energy_source, "")


def energy_sentence(firing: Firing) -> str:
    """One sentence for a message; the page itself shows more."""
    if firing.energy_wh is None:
        return "How much electricity it used is not known."
    return f"It used {firing.energy_wh / 1000:.1f} kWh, {source_words(firing)}."


def other_sources(firing: Firing) -> list[tuple[int, int, str]]:
    """What the sources that were not taken tell: (Wh, uncertainty Wh, words)."""
    others = firing.energy_working.get("how", {}).get("others", [])
    return [(wh, either_way, SOURCE_WORDS.get(source, source)) for source, wh, either_way in others]


def disagreement_sentences(firing: Firing) -> list[str]:
    """Where two measurements are further apart than both can err."""
    found = firing.energy_working.get("how", {}).get("disagreements", [])
    return [
        f"{one_wh / 1000:.1f} kWh {SOURCE_WORDS.get(one, one)}, but {other_wh / 1000:.1f} kWh "
        f"{SOURCE_WORDS.get(other, other)}: they should not differ by more than "
        f"{most_wh / 1000:.1f} kWh. One of them is wrong."
        for one, one_wh, other, other_wh, most_wh in found
    ]
