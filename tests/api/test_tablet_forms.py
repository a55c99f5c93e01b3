"""What the tablet's forms say of themselves is what its queue can read."""

import re
from pathlib import Path

from jobs.work.calc.stages import VERSIONED, Kind

ROOT = Path(__file__).parents[2] / "jobs" / "tablet"
FORMS = "\n".join(
    one.read_text() for one in sorted((ROOT / "templates/jobs/tablet").glob("*.html"))
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


def test_what_raises_the_version_says_so_and_nothing_else_does() -> None:
    forms = re.findall(r'<form\s+class="act[^>]*>', FORMS)
    assert len(forms) > 15
    for form in forms:
        kind = re.search(r'data-kind="(\w+)"', form)
        assert kind, form
        assert ("data-raises" in form) is (kind[1] in {*RAISING, *UNCHECKED}), form
        assert ('data-raises="unchecked"' in form) is (kind[1] in UNCHECKED), form
    assert {*RAISING.values(), *UNCHECKED.values()} <= VERSIONED
