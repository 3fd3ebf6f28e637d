"""What the rules of cost sharing and of the books refuse."""

from studio.refusals import Refusal


class BillingRefusal(Refusal):
    """A rule of the books does not allow it now."""
