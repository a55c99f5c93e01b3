"""A note of each worker and of beat that it lives, and the command that asks for it.

`python -m core.serving.alive notices` ends with 0 where that worker has written its note lately,
else with 1 and a sentence: what a container's health check runs. The worker writes from the loop
that takes work, while that has its broker; so one that is dead, frozen or cut off writes nothing.
What is done, not only who lives, stands at /readyz. Imports nothing of the project: it is run
every few seconds.
"""

import os
import sys
import time
from pathlib import Path

NAMES = ("notices", "work", "beat")
EVERY_SECONDS = 5.0
LATE_SECONDS = 30.0
# As in `core.settings`, which this does without.
BASE_DIR = Path(__file__).resolve().parents[2]


def note(folder: Path, name: str) -> None:
    """Write down that a part lives, by the clock that all processes of this machine share."""
    half_written = folder / f".{name}.{os.getpid()}"
    half_written.write_text(str(time.monotonic()), encoding="ascii")
    half_written.replace(folder / f"{name}.alive")


def age_seconds(folder: Path, name: str) -> float | None:
    """Return how long ago it was written down, None where it never was since this start."""
    try:
        written = float((folder / f"{name}.alive").read_text(encoding="ascii"))
    except (OSError, ValueError):
        return None
    age = time.monotonic() - written
    return age if age >= 0 else None


def chosen_folder() -> Path:
    """Return where the notes lie, by the same variables that the service reads."""
    data = os.environ.get("SHUTLINE_DATA_DIR", "").strip() or BASE_DIR / "var"
    return Path(os.environ.get("SHUTLINE_ALIVE_DIR", "").strip() or Path(data) / "alive")


def main(arguments: list[str]) -> int:
    """Say whether the named part lives; return the exit code."""
    if len(arguments) != 1 or arguments[0] not in NAMES:
        sys.stderr.write(f"Name one part: {', '.join(NAMES)}.\n")
        return 2
    (name,) = arguments
    age = age_seconds(chosen_folder(), name)
    if age is None:
        sys.stdout.write(f"{name} has not said yet that it lives: is it started?\n")
        return 1
    sys.stdout.write(f"{name} said {age:.0f} s ago that it lives; {LATE_SECONDS:.0f} s is late.\n")
    return 0 if age <= LATE_SECONDS else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
