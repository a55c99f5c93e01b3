"""One subject has one name in every layer of what is true of a car."""

from pathlib import Path

import pytest

ROOMS = Path(__file__).parents[1] / "jobs" / "work"
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
    "calc": {"car", "instants", "statistics"},
    "models": {"looks"},
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
