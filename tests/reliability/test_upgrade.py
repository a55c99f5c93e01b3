"""A database of an earlier release is brought up to date, replays, and reads the same."""

import json
import re
from pathlib import Path

import pytest

from tests.reliability.world import FORMS, unfounded

CARS = 9  # of the demo's day
ID_OR_NUMBER = re.compile(r"[0-9a-f]{8}-[0-9a-f-]{27}|\b\d+\b")
# What was meant to be said otherwise since: words, and times that are worked out from the air.
CHANGED = {
    "/operations.operations.*.caution",
    "/jobs/*.reminders.*.text",
    "/jobs/*/coats.tasks.*.dry_to_handle_at",
}


@pytest.mark.parametrize("form", FORMS)
def test_a_database_with_the_demos_day_in_it_migrates_replays_and_reads_the_same(
    form: str, tmp_path: Path
) -> None:
    with unfounded(form, tmp_path) as world:
        found = json.loads(world.python("-m", "tests.reliability.upgrade"))
    assert found["jobs"] == CARS
    assert found["astray"] == []
    places = [line.partition(": ")[0].partition(" /")[2] for line in found["unlike"]]
    unlike = {"/" + ID_OR_NUMBER.sub("*", place) for place in places}
    assert unlike <= CHANGED, found["unlike"]
    assert found["asked"] > 100, "so many answers were compared"
