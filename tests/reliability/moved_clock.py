"""The project's settings for a service whose one clock can be moved while it runs.

Settings are read before anything else of the project, so that whoever imports `now` later gets this
one. The offset stands in a file that all of the service's programs read at every look.
"""

import os
from datetime import UTC, datetime, timedelta
from pathlib import Path

import core.clock

FILE = "TEST_CLOCK_FILE"
_file = Path(os.environ[FILE])


def moved_now() -> datetime:
    """Return the present instant of the moved clock, in UTC."""
    return datetime.now(UTC) + timedelta(seconds=float(_file.read_text()))


core.clock.now = moved_now

from core.settings import *  # noqa: E402, F403  after the clock was moved
