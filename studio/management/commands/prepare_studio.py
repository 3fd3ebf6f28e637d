from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError

from studio.environment import DEMO_SIGN_INS
from studio.models import Person


class Command(BaseCommand):
    help = "Brings the database and the static files up to date; builds the demo if it is empty."

    def handle(self, *args: object, **options: object) -> None:
        call_command("check", deploy=not settings.IS_DEMO, fail_level="ERROR")
        call_command("migrate", interactive=False, verbosity=0)
        call_command("collectstatic", interactive=False, verbosity=0)
        if Person.objects.exists():
            if settings.IS_DEMO and not (settings.HOME / DEMO_SIGN_INS).exists():
                raise CommandError(
                    "The demo was interrupted while it was built. Start it with --fresh."
                )
            return
        if settings.IS_DEMO:
            self.stdout.write("Building the demo studio (once) ...")
            self.stdout.flush()
            call_command("load_demo", stdout=self.stdout)
        else:
            self.stdout.write(
                "Nobody can sign in yet: name the first manager with `manage.py open_studio`."
            )
