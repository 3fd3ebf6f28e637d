from django.apps import AppConfig


class StudioConfig(AppConfig):
    name = "studio"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        # Loaded here, not in studio/__init__.py: `python3 -m studio` must start on a machine
        # that has no Django yet.
        from studio import celery, checks  # noqa: F401
