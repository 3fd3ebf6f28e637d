"""beancount's own checker, run as a program on a text of ours."""

from __future__ import annotations

import re
import subprocess
import sys
from decimal import Decimal
from pathlib import Path

BEAN_CHECK = Path(sys.executable).parent / "bean-check"
POSTING = re.compile(r"^  ([A-Z]\S+:\S+)  (-?[0-9.]+) [A-Z]{3}$", re.MULTILINE)


def complaints(text: str, folder: Path) -> str:
    """What bean-check says against the text; nothing when it accepts it."""
    file = folder / "journal.beancount"
    file.write_text(text, encoding="utf-8")
    command = [str(BEAN_CHECK), "--no-cache", str(file)]
    checked = subprocess.run(command, capture_output=True, text=True, check=False)
    assert (checked.returncode == 0) == (checked.stderr == "")
    return checked.stderr


def legs_of(block: str) -> list[tuple[str, Decimal]]:
    """Account and amount of each posting in a piece of beancount text."""
    return [(name, Decimal(amount)) for name, amount in POSTING.findall(block)]
