"""Menu entries and home panels of the pages for crew."""


def register_crew_menu() -> None:
    """Nothing yet."""
