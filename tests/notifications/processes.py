"""Runs a piece of Python in several real processes at once, on the database of the test."""

import os
import subprocess
import sys

from django.db import connection

from tests.patience import PATIENCE_SECONDS

START = """
import sys
import django
django.setup()

def ready():
    print("ready", flush=True)
    sys.stdin.readline()

"""


class Processes:
    """Give it code that calls `ready()` once set up and prints one line; see `run`."""

    def __init__(self) -> None:
        self.started: list[subprocess.Popen[str]] = []

    def run(self, code: str, *, count: int) -> list[str]:
        """Start that many, let all go at the same moment, and return what each printed."""
        self.started = [start(code) for _ in range(count)]
        for process in self.started:
            assert process.stdout is not None
            assert process.stdout.readline() == "ready\n"
        for process in self.started:
            assert process.stdin is not None
            process.stdin.write("go\n")
            process.stdin.flush()
        printed = [process.communicate(timeout=PATIENCE_SECONDS)[0] for process in self.started]
        assert [process.returncode for process in self.started] == [0] * count
        return printed

    def end(self) -> None:
        """End what still runs."""
        for process in self.started:
            process.kill()
            process.communicate()


def start(code: str, **environment: str) -> subprocess.Popen[str]:
    """Start one process, with more in its environment."""
    ours = {
        **os.environ,
        "DJANGO_SETTINGS_MODULE": "tests.settings",
        "DATABASE_URL": address_of_the_test_database(),
    }
    return subprocess.Popen(
        [sys.executable, "-c", START + code],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        env={**ours, **environment},
    )


def address_of_the_test_database() -> str:
    """Return the URL by which another process reaches the test's database."""
    name = connection.settings_dict["NAME"]
    if connection.vendor == "sqlite":
        return f"sqlite:///{name}"
    at = connection.settings_dict
    return f"postgres://{at['USER']}:{at['PASSWORD']}@{at['HOST']}:{at['PORT'] or 5432}/{name}"
