"""The folder in which programs count together: nothing counted is lost, nor are files left."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from core.numbers import text
from core.numbers_folder import VARIABLE
from tests.patience import PATIENCE_SECONDS

COUNT = """
import sys
from prometheus_client import Counter, Histogram
cars = Counter("shutline_cars", "Cars.", ["colour"])
took = Histogram("shutline_took_seconds", "Seconds.", buckets=(1.0, 5.0))
cars.labels("green").inc(3)
took.observe(2.0)
print("counted", flush=True)
sys.stdin.readline()
"""


class Counting:
    """A process that has counted three green cars and goes on living until told to end."""

    def __init__(self, folder: Path) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-c", COUNT],
            env={**os.environ, VARIABLE: str(folder)},
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        assert self.process.stdout is not None
        assert self.process.stdout.readline() == "counted\n"

    def end(self) -> None:
        self.process.communicate("end\n", timeout=PATIENCE_SECONDS)


def figure(folder: Path, line: str) -> float:
    """Return one figure of a scrape."""
    found = [
        float(shown.rpartition(" ")[2])
        for shown in text(folder=folder).decode().splitlines()
        if shown.startswith(f"{line} ")
    ]
    (value,) = found
    return value


def test_what_ended_processes_counted_stays_in_as_few_files_as_there_are_processes(
    tmp_path: Path,
) -> None:
    for _ in range(3):
        Counting(tmp_path).end()
    living = Counting(tmp_path)
    for _ in range(2):  # the second scrape adds nothing twice
        assert figure(tmp_path, 'shutline_cars_total{colour="green"}') == 12.0
        assert figure(tmp_path, 'shutline_took_seconds_bucket{le="1.0"}') == 0.0
        assert figure(tmp_path, 'shutline_took_seconds_bucket{le="5.0"}') == 4.0
        assert figure(tmp_path, "shutline_took_seconds_sum") == 8.0
    names = {path.name for path in tmp_path.glob("*.db")}
    here = living.process.pid
    assert names == {f"{kind}_{of}.db" for kind in ("counter", "histogram") for of in (0, here)}
    living.end()
    assert figure(tmp_path, 'shutline_cars_total{colour="green"}') == 12.0
    assert {path.name for path in tmp_path.glob("*.db")} == {"counter_0.db", "histogram_0.db"}


def test_a_process_of_somebody_elses_counts_as_alive(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    Counting(tmp_path).end()

    def refuse(_process: int, _signal: int) -> None:
        raise PermissionError

    monkeypatch.setattr(os, "kill", refuse)
    assert figure(tmp_path, 'shutline_cars_total{colour="green"}') == 3.0
    assert not (tmp_path / "counter_0.db").exists()
