from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from studio.back_up import BackUpFault, back_up


class Command(BaseCommand):
    help = "Writes the whole database to one new file; the studio may run meanwhile."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("path", type=Path, help="the file to write")

    def handle(self, *args: Any, path: Path, **options: Any) -> None:
        try:
            back_up(path)
        except BackUpFault as fault:
            raise CommandError(str(fault)) from fault
        self.stdout.write(f"{path}: {path.stat().st_size} bytes. Keep it private: it names people.")
