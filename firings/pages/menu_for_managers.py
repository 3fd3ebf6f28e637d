"""Menu entries and home panels of the pages for managers."""


def register_manager_menu() -> None:
    """Nothing yet."""
