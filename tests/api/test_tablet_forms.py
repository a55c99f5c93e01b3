"""What the tablet's forms say of themselves is what its queue can read."""

import re
from pathlib import Path
from typing import Any
from unittest.mock import Mock

from django.template import Context, Template

from jobs.work.calc.stages.machine import VERSIONED, Kind

ROOT = Path(__file__).parents[2] / "jobs" / "tablet"
FORMS = "\n".join(
    path.read_text() for path in sorted((ROOT / "templates/jobs/tablet").glob("*.html"))
)
ACT = (ROOT / "static/jobs/tablet/act.js").read_text()
# The version is counted on where the tablet acts, by the names its forms use.
RAISING = {
    "arrival": Kind.ARRIVED,
    "move": Kind.MOVED,
    "hold": Kind.HELD,
    "release": Kind.RELEASED,
    "correct": Kind.CORRECTED,
}

# These end or begin a hold; the service asks no version of them.
UNCHECKED = {"clear": Kind.RELEASED, "withdraw": Kind.RELEASED}


def test_every_type_of_an_input_is_one_that_the_queue_reads() -> None:
    known = set(re.findall(r"^  (\w+): ", ACT.partition("const READ")[2], flags=re.MULTILINE))
    assert set(re.findall(r'data-type="(\w+)"', FORMS)) <= known | {"list"}
    assert 'type === "list"' in ACT


def form_of(kind: str, **about: Any) -> str:
    """Return the start tag of the form of an action."""
    source = '{% load tablet %}{% act kind "x" y "z" says="Done: "|add:name look=look over=over %}'
    context = {"job": Mock(pk="a-car"), "kind": kind, "y": 7, "name": "<b>", **about}
    return Template(f"{source}{{% endact %}}").render(Context(context))


def test_what_raises_the_version_says_so_and_nothing_else_does() -> None:
    kinds = re.findall(r'{% act "(\w+)"', FORMS)
    assert len(kinds) > 25
    assert kinds.count("move") == 2
    for kind in kinds:
        form = form_of(kind)
        assert ("data-raises" in form) is (kind in {*RAISING, *UNCHECKED}), form
        assert ('data-raises="unchecked"' in form) is (kind in UNCHECKED), form
        assert ("data-raises" in form_of(kind, over="repaired")) is (kind in RAISING)
    assert {*RAISING.values(), *UNCHECKED.values()} <= VERSIONED


def test_no_other_form_of_an_action_is_written_out_than_the_one_about_no_car() -> None:
    assert re.findall(r'<form\s+class="act[^>]*data-kind="(\w+)"', FORMS) == ["reading"]


def test_a_form_of_an_action_says_what_it_is_and_where_it_is_sent() -> None:
    assert form_of("seen", look="wide") == (
        '<form class="act wide" method="post" action="/api/v1/jobs/a-car/x/7/z" data-job="a-car"'
        ' data-kind="seen" data-says="Done: &lt;b&gt;" data-time="occurred_at"></form>'
    )


def test_a_form_may_be_hidden_sent_elsewhere_and_say_more() -> None:
    source = (
        '{% load tablet %}{% act "seen" "/x" says="a" shown=False data_stay=True data_to="b" %}c'
    )
    form = Template(f"{source}{{% endact %}}").render(Context({"job": Mock(pk="a-car")}))
    assert 'action="/api/v1/x"' in form
    assert form.endswith(' data-time="occurred_at" hidden data-stay data-to="b">c</form>')
