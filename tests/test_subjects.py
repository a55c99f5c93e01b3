"""One subject has one name in every layer of what is true of a car."""

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
ROOMS = ROOT / "jobs" / "work"
LAYERS = (
    *("calc", "models", "events", "selectors", "services"),
    *("words", "inputs", "answers", "intake", "api"),
)
SUBJECTS = {
    *("air", "catalogue", "coats", "curing", "findings", "flow", "holds", "hours", "jobs"),
    *("minutes", "orders", "paint", "photographs", "products", "requests", "stages", "tasks"),
    "walk_rounds",
}
# What a layer has beside the subjects: what all of them build on, or what puts them together.
BESIDE = {
    "calc": {"arrays", "car", "instants", "statistics"},
    "models": {"looks"},
    "selectors": {"cars"},
    "api": {"urls"},
}


@pytest.mark.parametrize("layer", LAYERS)
def test_a_layer_is_cut_by_the_subjects_that_all_layers_have(layer: str) -> None:
    names = {
        path.stem
        for path in (ROOMS / layer).iterdir()
        if path.stem != "__init__" and (path.suffix == ".py" or (path / "__init__.py").exists())
    }
    assert names, layer
    assert names - SUBJECTS == BESIDE.get(layer, set())


def test_every_layer_with_subjects_is_looked_at() -> None:
    packages = {path.parent.name for path in ROOMS.glob("*/__init__.py")}
    assert packages - {"drawings", "management", "migrations"} == set(LAYERS)


# What is kept as a document, as it came or as it goes out, and looked at by nobody here.
DOCUMENTS = {
    ("advance", "data"),
    ("event_tell", "data"),
    ("tell_changed", "changes"),
    ("event_append", "data"),
    ("import_begin", "lines"),
    ("import_keep", "answers"),
}
LOOSE = re.compile(r"(Mapping|dict)\[str, Any\]")


def loose_parameters() -> set[tuple[str, str]]:
    """Return the parameters of services that anything may be put into."""
    found = set()
    for app in ("jobs/work", "jobs/dashboard", "accounts", "notifications"):
        for path in [*(ROOT / app).glob("services/**/*.py"), *(ROOT / app).glob("services.py")]:
            for node in ast.walk(ast.parse(path.read_text())):
                if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
                    found |= {
                        (node.name, parameter.arg)
                        for parameter in (*node.args.args, *node.args.kwonlyargs)
                        if parameter.annotation and LOOSE.search(ast.unparse(parameter.annotation))
                    }
    return found


def test_a_service_takes_what_is_named_and_typed() -> None:
    assert loose_parameters() == DOCUMENTS
