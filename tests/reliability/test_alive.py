"""The note of a worker that it lives, and the command that asks for it."""

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from core.serving.alive import LATE_SECONDS, NAMES, age_seconds, main, note
from core.serving.parts import NAMES as PARTS
from tests.reliability.service import ROOT


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("SHUTLINE_ALIVE_DIR", str(tmp_path))
    return tmp_path


def written(folder: Path, text: str) -> None:
    (folder / "work.alive").write_text(text)


def test_whoever_has_just_said_so_lives(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    note(folder, "work")
    assert main(["work"]) == 0
    assert "work said 0 s ago" in capsys.readouterr().out
    assert [path.name for path in folder.iterdir()] == ["work.alive"]


def test_whoever_said_so_long_ago_does_not(folder: Path) -> None:
    written(folder, str(-LATE_SECONDS - 1 + time.monotonic()))
    assert main(["work"]) == 1


@pytest.mark.parametrize(
    "text", ["", "soon", pytest.param(f"{time.monotonic() + 1e6:.1f}", id="to come")]
)
def test_a_note_that_is_damaged_or_from_before_this_start_says_nothing(
    folder: Path, text: str, capsys: pytest.CaptureFixture[str]
) -> None:
    written(folder, text)
    assert age_seconds(folder, "work") is None
    assert main(["work"]) == 1
    assert "is it started?" in capsys.readouterr().out


def test_a_part_that_writes_no_note_is_refused_by_name(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert set(NAMES) == set(PARTS) - {"web"}
    assert main(["web"]) == 2
    assert "notices, work, beat" in capsys.readouterr().err


def test_it_asks_where_the_service_writes_and_loads_nothing_of_it(tmp_path: Path) -> None:
    alive = tmp_path / "alive"
    alive.mkdir()
    note(alive, "beat")
    code = (
        "import sys; from core.serving.alive import main; assert main(['beat']) == 0;"
        "print({'django', 'celery', 'structlog'} & sys.modules.keys())"
    )
    environment = {**os.environ, "SHUTLINE_DATA_DIR": str(tmp_path)}
    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=ROOT,
        env=environment,
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.splitlines()[-1] == "set()"
