"""The test's own hand on the clock of a service that runs with `tests.reliability.moved_clock`."""

from datetime import UTC, datetime
from pathlib import Path


class HandOnClock:
    """Moves it, in every program of the service at once."""

    def __init__(self, file: Path) -> None:
        self.file = file
        self.set_to(datetime.now(UTC))

    def set_to(self, moment: datetime) -> None:
        """Set the clock to this moment."""
        fresh = self.file.with_suffix(".new")
        fresh.write_text(str((moment - datetime.now(UTC)).total_seconds()))
        fresh.replace(self.file)  # whole at any instant, whoever reads
