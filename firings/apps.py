from django.apps import AppConfig


class FiringsConfig(AppConfig):
    name = "firings"
    default_auto_field = "django.db.models.BigAutoField"
