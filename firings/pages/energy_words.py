"""How the energy of a firing is told: the number, where it is from and how sure it is."""

from __future__ import annotations

from firings.calculations.energy import DUTY, ESTIMATE, HISTORY, METER_REGISTER, POWER_SAMPLES
from firings.models import Firing

SOURCE_WORDS = {
    METER_REGISTER: "from the meter's register",
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
