from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError

from studio.back_up import BackUpFault, restore
from studio.process_tree import AlreadyRunning, sole_run_of


class Command(BaseCommand):
    help = "Puts a back-up in place of the database. Stop the studio first."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("path", type=Path, help="a file that back_up wrote")
        parser.add_argument("--replace", action="store_true", help="what is there now may go")

    def handle(self, *args: Any, path: Path, replace: bool, **options: Any) -> None:
        try:
            with sole_run_of(settings.HOME):
                restore(path, replaces=replace)
                # A back-up may come from an older version.
                call_command("migrate", interactive=False, verbosity=0)
        except (BackUpFault, AlreadyRunning) as fault:
            raise CommandError(str(fault)) from fault
        self.stdout.write(f"The studio is as {path} kept it.")
