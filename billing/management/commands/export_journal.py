from argparse import ArgumentTypeError
from datetime import date
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from billing.actions.export_journal import FORMATS, JournalExport, export_journal
from studio.refusals import Refusal


class Command(BaseCommand):
    help = "Writes the journal of a span of days to one new file for other programs."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--format", choices=list(FORMATS), required=True, dest="file_format")
        parser.add_argument("--from", type=_day, dest="first", help="else the very first entry's")
        parser.add_argument("--to", type=_day, dest="last", help="else today")
        parser.add_argument("--out", type=Path, required=True, dest="path", help="file to write")

    def handle(self, *args: Any, path: Path, **options: Any) -> None:
        asked = {name: options[name] for name in ("file_format", "first", "last")}
        if path.exists():
            raise CommandError(f"{path} is there already: choose a new name.")
        if not path.parent.is_dir():
            raise CommandError(f"There is no folder {path.parent}.")
        try:
            _write(export_journal(by=None, at=timezone.now(), **asked), path)
        except Refusal as refusal:
            raise CommandError(refusal.message) from refusal
        self.stdout.write(f"{path}: {path.stat().st_size} bytes. Keep it private: it names people.")


def _write(export: JournalExport, path: Path) -> None:
    """All of it or nothing, readable by its owner only."""
    draft = path.with_name(f".{path.name}.unfinished")
    draft.unlink(missing_ok=True)
    draft.touch(mode=0o600)
    try:
        # newline="": the pieces end their lines themselves, CSV with CR and LF
        with draft.open("w", encoding="utf-8", newline="") as file:
            file.writelines(export.pieces)
        draft.rename(path)
    finally:
        draft.unlink(missing_ok=True)


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise ArgumentTypeError(f"{text!r} is not a day such as 2026-05-31") from None
