"""Every answer is declared once: the same class is the body and what the document says of it."""

import ast
import sys
from collections.abc import Iterator
from dataclasses import dataclass, fields
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from typing import Annotated, Any, get_args, get_type_hints

import orjson
import pytest
from django.urls import get_resolver
from rest_framework import serializers

from core.api.answers import Answer, serializer_of
from core.api.rendering import to_json
from core.api.serializers import OutputModelSerializer

ROOT = Path(__file__).parents[2]
VIEWS = sorted(
    path
    for room in ("accounts", "jobs", "notifications")
    for path in (ROOT / room).rglob("*.py")
    if "api" in path.relative_to(ROOT).parts
)
NOT_OF_A_MODEL = {"PictureLinksOutput", "TradeAccountOutput"}  # names that are numbers; no amounts


def below(kind: type) -> Iterator[type]:
    """Yield every class made from another, however far down."""
    for child in kind.__subclasses__():
        yield child
        yield from below(child)


@pytest.fixture(scope="module")
def answers() -> list[Any]:
    """Return every answer there is, once all addresses and so all views are loaded."""
    assert get_resolver().url_patterns
    # For its slots each class is made twice; the one that goes by the name is meant.
    found = [
        kind
        for kind in set(below(Answer))
        if getattr(sys.modules[kind.__module__], kind.__name__, None) is kind
        and not kind.__module__.startswith("tests.")
    ]
    assert len(found) > 80
    return found


def test_every_answer_is_frozen_and_describes_itself(answers: list[Any]) -> None:
    wrong = [
        kind.__name__
        for kind in answers
        if not kind.__dataclass_params__.frozen
        or "__slots__" not in vars(kind)
        or list(serializer_of(kind)().fields) != [field.name for field in fields(kind)]
    ]
    assert wrong == []


def inside(hint: Any) -> Iterator[Any]:
    """Yield a type and all that it is made of."""
    yield hint
    for part in get_args(hint):
        yield from inside(part)


def test_no_answer_has_an_amount_of_money_that_nothing_hides(answers: list[Any]) -> None:
    """Amounts go through a model's output, which hides them from whoever may not see prices."""
    amounts = [
        f"{kind.__name__}.{name}"
        for kind in answers
        for name, hint in get_type_hints(kind).items()
        if Decimal in set(inside(hint))
    ]
    assert amounts == []


def test_nothing_else_describes_an_answer(answers: list[Any]) -> None:
    del answers  # for all views to be loaded
    names = {
        kind.__name__
        for kind in below(serializers.Serializer)
        if kind.__name__.endswith("Output")
        and kind.__module__.partition(".")[0] in {"accounts", "jobs", "notifications"}
        and not issubclass(kind, OutputModelSerializer)
    }
    assert names == NOT_OF_A_MODEL


@pytest.mark.parametrize("path", VIEWS, ids=lambda path: str(path.relative_to(ROOT)))
def test_no_view_answers_with_a_dictionary_of_its_own(path: Path) -> None:
    written = [
        node.lineno
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Name)
        and node.func.id == "Response"
        and node.args
        and isinstance(node.args[0], (ast.Dict, ast.DictComp, ast.List, ast.ListComp))
    ]
    assert written == []


@dataclass(frozen=True, slots=True, kw_only=True)
class _Inner(Answer):
    at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class _Outer(_Inner):
    """An answer of an answer's kind."""

    share: Annotated[float | None, "Null: of no cars."]
    stage: Annotated[str, serializers.ChoiceField(["intake", "ready"], help_text="Where.")]
    all: tuple[_Inner, ...]


def test_the_body_is_the_answer_itself() -> None:
    at = datetime(2027, 3, 1, 9, tzinfo=UTC)
    answer = _Outer(at=at, share=None, stage="ready", all=(_Inner(at=at),))
    assert orjson.loads(to_json(answer)) == {
        "at": "2027-03-01T09:00:00Z",
        "share": None,
        "stage": "ready",
        "all": [{"at": "2027-03-01T09:00:00Z"}],
    }


def test_what_stands_in_annotated_describes_the_field() -> None:
    described: dict[str, Any] = dict(serializer_of(_Outer)().fields)
    assert described["share"].help_text == "Null: of no cars."
    assert described["share"].allow_null
    assert described["stage"].help_text == "Where."
    assert list(described["stage"].choices) == ["intake", "ready"]
    assert list(described["all"].child.fields) == ["at"]
