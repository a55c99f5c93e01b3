"""No line of a template, a style or a script is longer than people read."""

from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
OURS = ("core", "accounts", "jobs", "notifications")
KINDS = (".html", ".css", ".js")  # what is text in a mail has the lines that its reader gets
LONGEST = 120


def read(kind: str) -> list[Path]:
    """Return our templates and static files of a kind."""
    return sorted(
        path
        for app in OURS
        for path in (ROOT / app).rglob(f"*{kind}")
        if {"templates", "static"} & set(path.parts)
    )


def too_long(text: str) -> Iterator[int]:
    """Yield the number of each line that is longer than people read."""
    for number, line in enumerate(text.splitlines(), start=1):
        if len(line) > LONGEST:
            yield number


@pytest.mark.parametrize("kind", KINDS)
def test_no_line_is_longer_than_people_read(kind: str) -> None:
    files = read(kind)
    assert files
    found = [f"{path.relative_to(ROOT)}:{n}" for path in files for n in too_long(path.read_text())]
    assert found == []


def test_a_long_line_is_found() -> None:
    assert list(too_long("a" * LONGEST + "\n" + "a" * (LONGEST + 1))) == [2]
