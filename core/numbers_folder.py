"""The folder in which the programs of one `serve` count together, a file for each process.

What a process counted outlives it: its files are added to those of process 0, which is nobody's,
so that a scrape reads as many files as there are processes, however often they were restarted.
"""

import fcntl
import os
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from prometheus_client import CollectorRegistry
from prometheus_client.mmap_dict import MmapedDict
from prometheus_client.multiprocess import MultiProcessCollector

VARIABLE = "PROMETHEUS_MULTIPROC_DIR"  # the library's own name for it
ENDED = "0"


def added_up(folder: Path) -> CollectorRegistry:
    """Return what all processes counted, those that have ended too."""
    registry = CollectorRegistry()
    MultiProcessCollector(registry, path=str(folder))  # type: ignore[no-untyped-call]
    return registry


@contextmanager
def alone(folder: Path) -> Iterator[None]:
    """Keep other scrapes from reading while files are moved together."""
    with (folder / "lock").open("w") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        yield


def keep_of_ended(folder: Path) -> None:
    """Add the files of processes that have ended to those of process 0; call it alone."""
    for path in folder.glob("*_*.db"):
        kind, _, process = path.stem.rpartition("_")
        if process == ENDED or lives(int(process)):
            continue
        with closing(_file(folder / f"{kind}_{ENDED}.db")) as kept:
            for key, value, at, _ in MmapedDict.read_all_values_from_file(str(path)):  # type: ignore[no-untyped-call]
                before, _ = kept.read_value(key)  # type: ignore[no-untyped-call]
                kept.write_value(key, before + value, at)  # type: ignore[no-untyped-call]
        path.unlink()


def _file(path: Path) -> MmapedDict:
    return MmapedDict(str(path))  # type: ignore[no-untyped-call]


def lives(process: int) -> bool:
    """Return whether there is such a process."""
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except PermissionError:  # somebody else's, with a number that was used before
        return True
    return True
