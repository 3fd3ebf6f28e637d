"""The product's settings, with what tests need otherwise."""

import os

from studio.settings import *  # noqa: F403
from studio.settings import DATABASES, HOME, LOGGING, STATIC_ROOT, STORAGES

# Argon2 takes 0.15 s a check on purpose; the tests sign in hundreds of times.
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]

# A file, not memory: a real worker process must see the same database.
_is_sqlite = DATABASES["default"]["ENGINE"].endswith("sqlite3")
DATABASES["default"]["TEST"] = {
    "NAME": str(HOME / "test.sqlite3") if _is_sqlite else f"wareboard_test_{os.getpid()}"
}

# Without collected files there is no manifest.
STORAGES["staticfiles"] = {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}
STATIC_ROOT.mkdir(exist_ok=True)

# pytest catches log lines itself; a handler set up now would keep a stream pytest closes.
LOGGING["root"]["handlers"] = []
