"""`python3 -m studio demo` and its sisters; works before anything is installed."""

import sys

if sys.version_info < (3, 11):
    sys.exit(
        "Wareboard needs Python 3.11 or newer; this is %d.%d. Try python3.11, python3.12 or"
        " python3.13 in place of python3." % sys.version_info[:2]
    )

if sys.platform == "win32":
    sys.exit("Wareboard runs on Linux and macOS; on Windows run it inside WSL.")

from studio.bootstrap import main

sys.exit(main(sys.argv[1:]))
