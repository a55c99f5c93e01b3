"""Works out an alert's expression over two scrapes: the part of PromQL that our rules use.

`promql_parser` reads the expression; what it means follows Prometheus' documentation ("Querying
basics", "Operators", "Functions"), from memory. `rate` and `increase` are over the two scrapes,
without the extrapolation to the ends of the window, which decides nothing here.
"""

import math
import operator
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import promql_parser
from prometheus_client.parser import text_string_to_metric_families

Labels = frozenset[tuple[str, str]]
Vector = dict[Labels, float]
NOTHING: Labels = frozenset()
COMPARE: dict[str, Callable[[float, float], bool]] = {
    ">": operator.gt, "<": operator.lt, "==": operator.eq, ">=": operator.ge, "<=": operator.le,
}  # fmt: skip
GATHER: dict[str, Callable[[list[float]], float]] = {"sum": sum, "min": min, "max": max}


@dataclass(frozen=True, slots=True)
class Scrape:
    """What was read at a moment, by name and labels."""

    at_seconds: float
    samples: dict[str, Vector]

    @classmethod
    def of(cls, text: str, at_seconds: float) -> "Scrape":
        """Read Prometheus' text format."""
        samples: dict[str, Vector] = {}
        for family in text_string_to_metric_families(text):
            for sample in family.samples:
                named = samples.setdefault(sample.name, {})
                named[frozenset(sample.labels.items())] = float(sample.value)
        return cls(at_seconds, samples)


def names_in(expression: str) -> set[str]:
    """Return the names of all numbers in an expression."""
    return {selector.name for selector in _selectors(promql_parser.parse(expression))}


def _selectors(node: Any) -> Iterator[Any]:
    match type(node).__name__:
        case "VectorSelector":
            yield node
        case "MatrixSelector":
            yield node.vector_selector
        case "BinaryExpr":
            yield from _selectors(node.lhs)
            yield from _selectors(node.rhs)
        case "AggregateExpr" | "ParenExpr":
            yield from _selectors(node.expr)
        case "Call":
            for argument in node.args:
                yield from _selectors(argument)


def fires(expression: str, before: Scrape, after: Scrape) -> bool:
    """Return whether the expression holds of anything at the second scrape."""
    found = _value(promql_parser.parse(expression), before, after)
    assert isinstance(found, dict), "an alert's expression yields a vector"
    return bool(found)


def _value(node: Any, before: Scrape, after: Scrape) -> Vector | float:
    match type(node).__name__:
        case "NumberLiteral":
            return float(node.val)
        case "ParenExpr":
            return _value(node.expr, before, after)
        case "VectorSelector":
            return _selected(node, after)
        case "AggregateExpr":
            assert node.modifier is None, "no `by` in our rules"
            values = list(_vector(node.expr, before, after).values())
            return {NOTHING: GATHER[str(node.op)](values)} if values else {}
        case "Call":
            return _called(node, before, after)
        case "BinaryExpr":
            left = _vector(node.lhs, before, after)
            return _combined(str(node.op), left, _value(node.rhs, before, after))
        case other:
            raise NotImplementedError(f"{other} is not in the part that is read here.")


def _vector(node: Any, before: Scrape, after: Scrape) -> Vector:
    found = _value(node, before, after)
    assert isinstance(found, dict)
    return found


def _selected(node: Any, scrape: Scrape) -> Vector:
    return {
        labels: value
        for labels, value in scrape.samples.get(node.name, {}).items()
        if all(_fits(matcher, dict(labels)) for matcher in node.matchers.matchers)
    }


def _fits(matcher: Any, labels: dict[str, str]) -> bool:
    same: bool = labels.get(matcher.name, "") == matcher.value
    match str(matcher.op).rpartition(".")[2]:
        case "Equal":
            return same
        case "NotEqual":
            return not same
        case other:
            raise NotImplementedError(f"A matcher {other} is not in the part that is read here.")


def _called(node: Any, before: Scrape, after: Scrape) -> Vector:
    (argument,) = node.args
    if node.func.name == "absent":
        return {} if _vector(argument, before, after) else {NOTHING: 1.0}
    assert node.func.name in {"rate", "increase"}
    seconds = after.at_seconds - before.at_seconds if node.func.name == "rate" else 1.0
    earlier = _selected(argument.vector_selector, before)
    later = _selected(argument.vector_selector, after)
    # What was not there at the first scrape has no increase yet: Prometheus needs two samples.
    grown = {labels: later[labels] - earlier[labels] for labels in later.keys() & earlier.keys()}
    return {labels: value / seconds for labels, value in grown.items()}


def _combined(sign: str, left: Vector, right: Vector | float) -> Vector:
    if sign == "or":
        assert isinstance(right, dict)
        return {**right, **left}
    pairs = {
        labels: (value, right if isinstance(right, float) else right.get(labels, math.nan))
        for labels, value in left.items()
    }
    if sign == "/":
        return {labels: a / b if b else math.nan for labels, (a, b) in pairs.items()}
    return {labels: a for labels, (a, b) in pairs.items() if COMPARE[sign](a, b)}
