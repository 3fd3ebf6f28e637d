from django.apps import AppConfig


class StudioConfig(AppConfig):
    name = "studio"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        # Loaded here, not in studio/__init__.py: `python3 -m studio` must start on a machine
        # that has no Django yet.
        from studio import celery, checks  # noqa: F401
        from studio.pages.nav import NavEntry, register_nav

        register_nav(NavEntry("Home", "studio:home", order=0, quick=True))
        style = NavEntry("Style", "studio:style", roles={"manager"}, section="Studio", order=90)
        register_nav(style)
        from studio.letters import register_studio_kinds
        from studio.pages.studio_menu import register_studio_menu

        register_studio_kinds()
        register_studio_menu()
