"""Work that lasts until a test lets it end."""

import os
import time
from pathlib import Path

from celery import shared_task

from core.ids import new_id

FOLDER = "TEST_LONG_WORK"
POLL_SECONDS = 0.05


@shared_task
def last() -> None:
    """Write down that it began, and last until the folder holds a file named `end`."""
    folder = Path(os.environ[FOLDER])
    (folder / f"{new_id()}.begun").touch()
    while not (folder / "end").exists():
        time.sleep(POLL_SECONDS)
