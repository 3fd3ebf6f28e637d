"""`python3 -m tests` runs every test twice: on SQLite, and on PostgreSQL with Redis's protocol.

python3 -m tests [sqlite|servers] [what pytest takes]

Each run has its own broker; `servers` also starts a PostgreSQL that a wheel carries.
"""

import sys

if sys.version_info < (3, 11):
    sys.exit("The tests need Python 3.11 or newer; this is %d.%d." % sys.version_info[:2])

from tests.run import main

sys.exit(main(sys.argv[1:]))
