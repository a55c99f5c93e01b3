"""The five levels of dirt: a name, words of ours, and a picture for each."""

from itertools import pairwise
from xml.etree import ElementTree as ET

from jobs.work.calc.minutes.soiling import LEVELS, ORDINARY

SVG = "{http://www.w3.org/2000/svg}"


def test_there_are_five_levels_in_order_and_each_says_something_of_its_own() -> None:
    assert list(LEVELS) == [1, 2, 3, 4, 5]
    assert all(number == level.level for number, level in LEVELS.items())
    assert ORDINARY in LEVELS
    for field in ("name", "words", "svg"):
        assert len({getattr(level, field) for level in LEVELS.values()}) == 5


def test_the_worst_level_carries_a_caution_and_tells_whoever_cleans_to_stop_and_ask() -> None:
    assert "Gloves" in LEVELS[5].caution
    assert "stop and ask" in LEVELS[5].caution


def test_each_picture_is_a_whole_drawing_that_takes_the_colour_of_the_text() -> None:
    for level in LEVELS.values():
        picture = ET.fromstring(level.svg)  # noqa: S314  our own constant
        assert picture.tag == f"{SVG}svg"
        assert picture.get("stroke") == "currentColor"
        assert picture.get("aria-hidden") == "true"
        assert "style" not in level.svg  # no page may carry any of its own
        fills = {part.get("fill") for part in picture.iter() if part.get("fill")}
        assert fills <= {"none", "currentColor"}


def test_the_pictures_show_more_dirt_with_every_level() -> None:
    specks = [level.svg.count("h.01") for level in LEVELS.values()]
    assert specks[0] == 0
    assert all(less < more for less, more in pairwise(specks))
    muddy = ["Z" in level.svg.split("<g", 1)[0].rsplit('d="', 1)[1] for level in LEVELS.values()]
    assert muddy == [False, False, True, True, True]
