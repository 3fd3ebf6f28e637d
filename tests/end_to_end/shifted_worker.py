"""A real worker whose clock is set: `python -m tests.end_to_end.shifted_worker ISO-TIME`.

The month that the walk lives in lies in the past, so its worker must live there as well. Only
the clock is different; it runs on from the moment given.
"""

import sys
from datetime import datetime

import time_machine


def main(moment: str) -> None:
    with time_machine.travel(datetime.fromisoformat(moment), tick=True):
        from studio.celery import app

        quiet = ["--loglevel", "WARNING", "--without-gossip", "--without-mingle"]
        app.worker_main(["worker", *quiet, "--concurrency", "1"])


if __name__ == "__main__":
    main(sys.argv[1])
