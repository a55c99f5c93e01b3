"""What no test may do, since it would fail by chance some day."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path
from uuid import UUID

import pytest

from tests.figures import without_ids

TESTS = Path(__file__).parent
# What ids, tokens and times can hold by chance: few digits, hexadecimal or with a full stop.
SHORT = re.compile(r"[0-9a-fA-F.:]{1,7}")
CLOCKS = {"perf_counter", "perf_counter_ns", "process_time"}


def sources() -> Iterator[tuple[Path, ast.Module]]:
    for path in sorted(TESTS.rglob("*.py")):
        if "bench" not in path.relative_to(TESTS).parts:
            yield path, ast.parse(path.read_text())


def places(path: Path, nodes: list[ast.AST]) -> list[str]:
    return [f"{path.relative_to(TESTS)}:{getattr(node, 'lineno', 0)}" for node in nodes]


def searches_short(node: ast.AST) -> bool:
    """Return whether this looks for a short figure in a text that was not rid of its ids."""
    if not (isinstance(node, ast.Compare) and isinstance(node.left, ast.Constant)):
        return False
    figure, (operator, *_), (text, *_) = node.left.value, node.ops, node.comparators
    if isinstance(figure, bytes):
        figure = figure.decode("latin-1")
    if not (isinstance(figure, str) and SHORT.fullmatch(figure)):
        return False
    if not isinstance(operator, ast.In | ast.NotIn):
        return False
    return not (
        isinstance(text, ast.Call)
        and isinstance(text.func, ast.Name)
        and text.func.id in {"without_ids", "list"}
    )


def measures(node: ast.AST) -> bool:
    """Return whether this works out how long something took; a deadline does not."""
    if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Sub):
        clock = node.left.func if isinstance(node.left, ast.Call) else None
        return isinstance(clock, ast.Attribute) and clock.attr in {"monotonic", "time"}
    return isinstance(node, ast.Attribute) and node.attr in CLOCKS


def test_a_short_figure_is_only_looked_for_in_a_text_without_ids() -> None:
    found = [
        place
        for path, tree in sources()
        for place in places(path, [node for node in ast.walk(tree) if searches_short(node)])
    ]
    assert found == [], "put the text through tests.figures.without_ids, or look for more words"


def test_no_test_measures_time() -> None:
    found = [
        place
        for path, tree in sources()
        for place in places(path, [node for node in ast.walk(tree) if measures(node)])
    ]
    assert found == [], "speed is measured by `make bench`"


@pytest.mark.parametrize(
    ("text", "left"),
    [
        ("a car at 188.50", "a car at 188.50"),
        (f"job {UUID('01890188-0188-7188-8188-018801880188')} is 38.00", "job … is 38.00"),
        ("at 2027-03-01T09:30:38.001880Z it is 14.5", "at … it is 14.5"),
        (b"/photos/eyJpZCI6MTg4fQ188188188:1v188a:x_188-y/small.jpg", "/photos/…/small.jpg"),
    ],
)
def test_ids_tokens_and_moments_are_left_out_and_figures_stay(text: str | bytes, left: str) -> None:
    assert without_ids(text) == left
