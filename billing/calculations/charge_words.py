"""The steps that follow the split, in words a member can check with a calculator.

Amounts, areas and percentages arrive as text already formatted for the studio's readers.
"""


def minimum_words(least: str, before: str, more: str) -> str:
    return f"No slip is charged less than {least}: {least} − {before} = {more} more."


def surcharge_words(name: str, percent: str, before: str, more: str) -> str:
    return f"{name}, a surcharge of {percent}: {before} × {percent} = {more} more."


def subsidy_words(name: str, percent: str, before: str, less: str) -> str:
    return f"{name} carries {percent}: {before} × {percent} = {less} less."


def area_allowance_words(name: str, left: str, free: str, area: str, before: str, less: str) -> str:
    return (
        f"{name}: {left} were still free this month, so {free} of this ware's {area} are: "
        f"{before} × {free} ÷ {area} = {less} less."
    )


def amount_allowance_words(name: str, left: str, less: str) -> str:
    return f"{name}: {left} was still free this month, so {less} less."


def charged_words(split: str, steps: list[str], charged: str) -> str:
    """The sum of it all; `steps` carry their signs."""
    return f"Charged: {' '.join([split, *steps])} = {charged}."


def crew_words(name: str, person: str, rule: str, credit: str) -> str:
    return f"{name}, {person}: {rule} = {credit} credited."
