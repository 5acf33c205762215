"""The project's settings for tests: a throw-away data folder, none of the caller's variables, a fast hasher.

PASSAGEWORK_DATABASE alone is kept, so that the tests can be run on PostgreSQL.
"""

import atexit
import os
import shutil
import tempfile

for name in [name for name in os.environ if name.startswith("PASSAGEWORK_") and name != "PASSAGEWORK_DATABASE"]:
    del os.environ[name]
os.environ["PASSAGEWORK_DATA"] = tempfile.mkdtemp(prefix="passagework-test-")
atexit.register(shutil.rmtree, os.environ["PASSAGEWORK_DATA"], ignore_errors=True)
# Playwright's synchronous interface keeps an event loop in the tests' thread.
os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "1"

from studio.settings import *  # noqa: E402, F403
from studio.settings import DATA_DIR, DATABASES  # noqa: E402

PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
if DATABASES["default"]["ENGINE"].endswith("sqlite3"):
    # A file, not memory: the live server's threads each need a connection of their own.
    DATABASES["default"]["TEST"] = {"NAME": str(DATA_DIR / "test.sqlite3")}
