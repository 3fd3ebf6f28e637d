"""What the rules of kilns and ware refuse."""

from studio.refusals import Refusal


class WareRefusal(Refusal):
    """A rule of the trade, or of the order of things, does not allow it now."""
