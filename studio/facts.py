"""What `studio` announces to the apps that stand on it, inside the deed's own transaction.

Sent with `send`, not `send_robust`: a listener that raises a Refusal stops the deed.
"""

from django.dispatch import Signal

studio_changing = Signal()
"""Settings of the studio are about to be saved: `sender` is Studio, `studio` carries the new
values, `changes` is {field: (old, new)}, with `by` and `at`."""
