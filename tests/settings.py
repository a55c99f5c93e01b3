"""The project's settings as the tests run them: own data folder, loopback receivers allowed."""

import os
import tempfile

os.environ.setdefault("SHUTLINE_DATA_DIR", tempfile.mkdtemp(prefix="shutline-tests-"))
os.environ.setdefault("SHUTLINE_LOG_LEVEL", "ERROR")

from core.settings import *  # noqa: E402, F403  the environment must be set first

ALLOW_PLAIN_HTTP = True
OPEN_NETWORKS = ("127.0.0.0/8", "::1/128")
ALLOWED_HOSTS = ["testserver", "localhost", "127.0.0.1"]
EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
# The database's real path is a separate file; tests use Django's own test database.
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
AXES_ENABLED = False
