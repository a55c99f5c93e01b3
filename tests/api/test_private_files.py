"""What lies in the data folder is its owner's alone, whoever made it and when."""

import os
import stat
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from core.private_files import keep_private, open_to_others
from tests.reliability.service import ROOT, clean_environment


def mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


@pytest.fixture
def usual_umask() -> Iterator[None]:
    before = os.umask(0o022)
    yield
    os.umask(before)


@pytest.mark.usefixtures("usual_umask")
def test_what_the_operators_commands_make_is_the_owners_alone(tmp_path: Path) -> None:
    folder = tmp_path / "data"
    code = (
        "from django.core.management import call_command as call; import django; django.setup();"
        "call('migrate', verbosity=0);"
        "call('add_workshop', 'Fernhollow Valeting');"
        "from django.core.mail import send_mail;"
        "send_mail('Ready', 'Collect it.', None, ['odile@fernhollow.example']);"
        "from core.celery import app; app.send_task('core.tasks.purge_idempotent_answers');"
        "from django.core.files.storage import storages;"
        "from django.core.files.base import ContentFile;"
        "storages['photos'].save('abc/one.jpg', ContentFile(b'x'));"
        "from django.db import connection; connection.cursor().execute('BEGIN IMMEDIATE');"
        "import pathlib, os;"
        "[print(oct(path.stat().st_mode & 0o777), path.name) for path in"
        " pathlib.Path(os.environ['SHUTLINE_DATA_DIR']).rglob('*')]"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=ROOT,
        env={
            **clean_environment(),
            "SHUTLINE_DATA_DIR": str(folder),
            "DJANGO_SETTINGS_MODULE": "core.settings",
        },
        capture_output=True,
        text=True,
        check=True,
    )
    for kind in ("shutline.sqlite3", "-wal", "-shm", ".key", ".log", ".message", "one.jpg"):
        assert f"{kind}\n" in done.stdout, done.stdout
    for path in (folder, *folder.rglob("*")):
        assert mode(path) == (0o700 if path.is_dir() else 0o600), path


@pytest.mark.usefixtures("usual_umask")
def test_what_was_left_open_before_is_closed_and_else_nothing(tmp_path: Path) -> None:
    ours = [tmp_path / name for name in ("shutline.sqlite3", "shutline.sqlite3-wal", "field.key")]
    shopping = tmp_path / "shopping.txt"
    elsewhere = tmp_path.parent / "elsewhere.key"
    for path in (*ours, shopping, elsewhere):
        path.write_text("x")
    (tmp_path / "linked.key").symlink_to(elsewhere)
    (tmp_path / "mail").mkdir()
    tmp_path.chmod(0o755)
    assert set(open_to_others(tmp_path)) >= {".", "field.key", "mail"}
    keep_private(tmp_path)
    assert {mode(path) for path in ours} == {0o600}
    assert mode(tmp_path / "mail") == 0o700
    assert mode(shopping) == mode(elsewhere) == 0o644
    assert open_to_others(tmp_path) == ["."]
