"""What `firings` announces to whoever stands on it, inside the deed's own transaction.

Sent with `send`, not `send_robust`: if a listener refuses, the deed does not happen.
A fact of a firing carries `firing`, `by` and `at`.
"""

from django.dispatch import Signal

firing_closed = Signal()
"""A firing is over and its bookings are settled; its energy is known."""

firing_aborted = Signal()
"""A firing was broken off after its start; its ware waits again."""

part_replaced = Signal()
"""A part was retired and its like fitted. Carries `part`, `fitted`, `cost_minor`, `by`
and `at`."""
