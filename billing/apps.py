from django.apps import AppConfig


class BillingConfig(AppConfig):
    name = "billing"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from billing import listeners  # noqa: F401  # connects
        from billing.notices import register_notices
        from billing.pages.menu import register_billing_pages

        register_notices()
        register_billing_pages()
