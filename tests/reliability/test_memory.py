"""What the embedded form takes of a small machine's memory, counted by the system itself."""

import signal
from pathlib import Path

import pytest

from tests.patience import PATIENCE_SECONDS
from tests.reliability.service import name_of
from tests.reliability.test_demo import started

ROLLUP = "smaps_rollup"
# Shared pages are counted in parts (proc_pid_smaps(5), "Pss"). About 375 MB were measured, and
# 716 MB before workers were forked from one program; one more copy of Django is 80 to 100 MB.
MOST_MEGABYTES = 440
# The supervisor and its warden need no library of ours: about 9 and 4 MB.
MOST_OF_A_SMALL_ONE = 25

pytestmark = pytest.mark.skipif(
    not Path("/proc/self", ROLLUP).exists(), reason="counts pages by /proc"
)


def megabytes_of(folder: Path) -> dict[tuple[int, str], float]:
    """Return the memory of each process of the service in a data folder, by id and command."""
    mark = f"SHUTLINE_DATA_DIR={folder}\0".encode()
    found = {}
    for entry in Path("/proc").glob("[0-9]*"):
        try:
            if mark in (entry / "environ").read_bytes():
                lines = (entry / ROLLUP).read_text().splitlines()
                command = (entry / "cmdline").read_bytes().replace(b"\0", b" ").decode()
                (size,) = (line.split()[1] for line in lines if line.startswith("Pss:"))
                found[int(entry.name), command] = int(size) / 1024
        except (FileNotFoundError, ProcessLookupError, PermissionError):
            continue  # gone, or somebody else's
    return found


def test_the_service_stays_small_through_a_day_and_its_supervisor_all_the_time(
    tmp_path: Path,
) -> None:
    process = started(tmp_path, "--stay")
    assert process.stdout
    try:
        while line := process.stdout.readline():
            if "Ctrl-C stops everything" in line:
                break
        (folder,) = (tmp_path / "demo").iterdir()
        found = megabytes_of(folder)
        names = {name_of(pid) for pid, _ in found}
        assert {"workers", "notices", "work", "beat"} <= names
        assert sum(found.values()) < MOST_MEGABYTES, found
        small = [
            size
            for (_, command), size in found.items()
            if "core.serving.supervise" in command or "warden.py" in command
        ]
        assert len(small) == 2
        assert max(small) < MOST_OF_A_SMALL_ONE
    finally:
        process.send_signal(signal.SIGINT)
        process.communicate(timeout=PATIENCE_SECONDS)
