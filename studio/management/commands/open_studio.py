from getpass import getpass
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from studio.actions.edit_studio import open_first_studio
from studio.refusals import Refusal


class Command(BaseCommand):
    help = "Opens a new studio with its first manager, who then invites everybody else."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--studio-name", required=True)
        parser.add_argument("--manager-name", required=True)
        parser.add_argument("--email", required=True, help="what the manager signs in with")
        parser.add_argument("--time-zone", required=True, help="such as Europe/London")
        parser.add_argument("--currency", required=True, help="three letters, such as EUR")
        parser.add_argument(
            "--password-file",
            help="a file with the password in its first line; asked for when left out",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        password = self._password(options.pop("password_file"))
        wanted = ("studio_name", "manager_name", "email", "time_zone", "currency")
        try:
            manager = open_first_studio(
                at=timezone.now(), password=password, **{name: options[name] for name in wanted}
            )
        except Refusal as refusal:
            raise CommandError(refusal.message) from refusal
        self.stdout.write(f"The studio is open. {manager.email} can sign in.")

    def _password(self, file_name: str | None) -> str:
        if file_name is None:
            return getpass("Password for the manager: ")
        try:
            with open(file_name, encoding="utf-8") as lines:
                return lines.readline().rstrip("\n")
        except OSError as fault:
            raise CommandError(f"{file_name} cannot be read: {fault.strerror}") from fault
