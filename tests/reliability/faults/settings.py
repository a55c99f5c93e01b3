"""The project's settings with the app that fails."""

from core.settings import *  # noqa: F403

INSTALLED_APPS = [*INSTALLED_APPS, "tests.reliability.faults.FaultsConfig"]  # noqa: F405
ROOT_URLCONF = "tests.reliability.faults.urls"
