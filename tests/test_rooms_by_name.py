"""What goes by name goes the way of imports: no page names one of a room above or beside."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.template.loader import get_template
from django.urls import URLPattern, URLResolver, get_resolver

ROOT = Path(__file__).parents[1]
# From the bottom; what stands in one line does not know of each other.
ORDER = [
    ["core"],
    ["accounts"],
    ["notifications"],
    ["jobs/work"],
    ["jobs/tablet", "jobs/desk", "jobs/dashboard"],
]
ROOMS = [room for rooms in ORDER for room in rooms]
IN_TEMPLATE = re.compile(r"""\{%\s*(extends|include|static|url)\s+["']([^"']+)["']""")
BY_NAME = {"reverse", "reverse_lazy", "render", "static", "get_template", "render_to_string"}


def room_of(path: str) -> str:
    """Return the room in which a file lies, or nothing for a library's."""
    return next((room for room in ROOMS if path.startswith(f"{room}/")), "")


def height(room: str) -> int:
    return next(number for number, rooms in enumerate(ORDER) if room in rooms)


def addresses() -> dict[str, str]:
    """Return the room that answers at each named address."""

    def within(patterns: list[URLPattern | URLResolver]) -> Iterator[tuple[str, str]]:
        for pattern in patterns:
            if isinstance(pattern, URLResolver):
                yield from within(pattern.url_patterns)
            elif pattern.name:
                view = getattr(pattern.callback, "view_class", pattern.callback)
                yield pattern.name, room_of(view.__module__.replace(".", "/") + "/")

    return dict(within(get_resolver().url_patterns))


ADDRESSES = addresses()


def owner(kind: str, name: str) -> str:
    """Return the room that a name belongs to, or nothing where it is a library's."""
    if kind in {"url", "reverse", "reverse_lazy"}:
        return ADDRESSES.get(name, "")
    if kind == "static":
        found = [path for room in ROOMS for path in (ROOT / room).glob(f"static/{name}")]
        return room_of(str(found[0].relative_to(ROOT))) if found else ""
    template: Any = get_template(name)
    origin = template.origin.name
    return room_of(str(Path(origin).relative_to(ROOT))) if origin.startswith(str(ROOT)) else ""


def named_in(path: Path) -> Iterator[tuple[str, str]]:
    """Yield what a file names: how, and by which name."""
    text = path.read_text()
    if path.suffix == ".html":
        yield from IN_TEMPLATE.findall(text)
        return
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Call):
            called = node.func.attr if isinstance(node.func, ast.Attribute) else ""
            called = node.func.id if isinstance(node.func, ast.Name) else called
            names = [argument.value for argument in node.args if isinstance(argument, ast.Constant)]
            if called in BY_NAME:
                kind = {"render": "include", "render_to_string": "include"}.get(called, called)
                yield from ((kind, name) for name in names if isinstance(name, str))


@pytest.mark.parametrize("room", ROOMS)
def test_a_room_names_nothing_of_those_above_or_beside_it(room: str) -> None:
    known, wrong = 0, []
    for path in sorted((ROOT / room).rglob("*")):
        if path.suffix not in {".html", ".py"}:
            continue
        for kind, name in named_in(path):
            named_room = owner(kind, name)
            known += bool(named_room)
            if named_room and named_room != room and height(named_room) >= height(room):
                wrong.append(f"{path.relative_to(ROOT)}: {kind} {name} is of {named_room}")
    assert wrong == []
    assert known or room == "jobs/work", "something is named by every room with pages"
