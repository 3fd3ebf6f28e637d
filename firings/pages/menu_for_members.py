"""Menu entries and home panels of the pages for members."""


def register_member_menu() -> None:
    """Nothing yet."""
