"""The Celery app. Worker, beat and web process all find it as `studio.celery:app`."""

import os

from celery import Celery
from celery.signals import setup_logging

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "studio.settings")

app = Celery("wareboard")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()


@setup_logging.connect
def keep_django_logging(**_: object) -> None:
    """Celery sets up no logging of its own while something listens to this signal."""
