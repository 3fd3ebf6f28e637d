"""What the rules of the house refuse.

Refusal            the rule does not allow it now (409)
└── Denied         this person may not (403)

Each app derives its own refusals from these two. An action raises one; `studio.pages` turns it
into a message on the page, `studio.api.errors` into JSON. No page or endpoint catches it itself.
"""


class Refusal(Exception):
    """What a rule does not allow: says what was wrong and what to do next.

    code     short, stable, for programs: `piece_too_tall`
    message  one or two sentences for a person
    field    the form field it belongs to, where there is one
    facts    what a program may want to know: `limit_mm=380`
    """

    status = 409

    def __init__(
        self,
        code: str,
        message: str,
        *,
        field: str | None = None,
        status: int | None = None,
        **facts: object,
    ) -> None:
        super().__init__(message)
        self.code = code
        self.message = message
        self.field = field
        self.facts = facts
        if status is not None:
            self.status = status

    def __str__(self) -> str:
        return self.message


class Denied(Refusal):
    """This person may not do this."""

    status = 403
