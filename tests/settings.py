"""The project's settings as the tests run them: own data folder, loopback receivers allowed."""

import os
import tempfile

os.environ.setdefault("SHUTLINE_DATA_DIR", tempfile.mkdtemp(prefix="shutline-tests-"))
os.environ.setdefault("SHUTLINE_LOG_LEVEL", "ERROR")

from core.settings import *  # noqa: F403  the environment must be set first

ALLOW_PLAIN_HTTP = True
OPEN_NETWORKS = ("127.0.0.0/8", "::1/128")
ALLOWED_HOSTS = ["testserver", "localhost", "127.0.0.1"]
EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
if DATABASES["default"]["ENGINE"] == "django.db.backends.sqlite3":  # noqa: F405
    # A file: threads of a test must meet each other as processes do, and a database in memory
    # shares its locks otherwise.
    DATABASES["default"]["TEST"] = {"NAME": str(DATA_DIR / "tests.sqlite3")}  # noqa: F405
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
AXES_ENABLED = False
WHITENOISE_AUTOREFRESH = True  # else every new test client reads the whole of the static files
