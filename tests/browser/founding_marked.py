"""Founds the day full of markup: `python -m tests.browser.founding_marked` prints it as JSON."""

import json

from tests.browser import founding_day  # noqa: F401  first: it sets Django up
from tests.browser.day import sign_ins
from tests.browser.marked import NAMES, marked_day


def main() -> None:
    """Found it and print where everything is, and which texts were sent."""
    day = marked_day()
    people = sign_ins(day)
    print(json.dumps({"places": day.places, "people": people, "names": NAMES}))  # noqa: T201


if __name__ == "__main__":
    main()
