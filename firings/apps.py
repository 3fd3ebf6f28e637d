from django.apps import AppConfig


class FiringsConfig(AppConfig):
    name = "firings"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from firings.notices import register_firing_kinds
        from firings.pages.menu import register_firing_pages

        register_firing_kinds()
        register_firing_pages()
