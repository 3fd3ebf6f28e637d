#!/usr/bin/env python3
"""Django's own commands; `python3 -m studio` is the way to run a studio."""

import os
import sys


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "studio.settings")
    from django.core.management import execute_from_command_line

    from studio.environment import EnvironmentFault

    try:
        execute_from_command_line(sys.argv)
    except EnvironmentFault as fault:
        sys.exit(str(fault))


if __name__ == "__main__":
    main()
