"""The usual cautions. They warn and say who decides; they never call anything safe."""

from __future__ import annotations

# (title, text) by kind. Common practice, no source: each defers to those who decide.
WHO_DECIDES = (
    "The maker's manual, the local code and licensed practice decide; Wareboard only says what"
    " was measured."
)

CAUTIONS: dict[str, tuple[str, str]] = {
    "heat": (
        "Hot kiln, hot ware",
        "Kiln walls, shelves and ware burn skin long after they stop glowing, and a lid opened"
        " early can crack the ware. Wear dry heat-proof gloves, and eye protection rated for"
        " looking into a glowing chamber.",
    ),
    "electricity": (
        "Electricity",
        "Disconnect the kiln at its isolator before reaching into the chamber or opening the"
        " control box, and make sure that nobody can switch it on again. Work on wiring belongs to"
        " a licensed electrician.",
    ),
    "dust": (
        "Dust",
        "Dry clay, kiln wash and old brick give off fine silica dust that harms the lungs. Do not"
        " sweep dry: wet the place or use a vacuum with a fine-particle filter, and wear a fitted"
        " respirator.",
    ),
    "fumes": (
        "Fumes",
        "Firing gives off carbon monoxide, sulphur oxides and metal fumes. Run the vent, keep the"
        " room aired, and leave if you smell or feel them.",
    ),
    "lifting": (
        "Lifting",
        "Kiln shelves and full ware boards are heavy and brittle. Take one at a time, bend the"
        " knees, and ask a second person for a large shelf.",
    ),
}
