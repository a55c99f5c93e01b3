"""The picture of the paint survey in a real browser: legible on a phone, whole, and quiet."""

from typing import Any

import pytest

from jobs.work.calc.car.areas import PANELS
from jobs.work.calc.paint.survey import FilmClass
from jobs.work.drawings.car_plan import Mark, car_plan
from tests.browser.conftest import PHONE, Visit

pytestmark = pytest.mark.browser

CLASSES = [
    FilmClass.AS_MADE,
    FilmClass.THIN,
    FilmClass.MUCH_BUILT_UP,
    FilmClass.FILM_ON_IT,
    FilmClass.CANNOT_TELL,
]
NOTES = [
    (
        "The aluminium panels form two groups, 11 at about 100 and 10 at about 200 microns: nobody "
        "can tell from that which is as made."
    ),
    "WWWWWWWWWWWWWWWWWWWWWWWWWWW",
]
MARKS = {film_class: [Mark(code, 1288, film_class) for code in PANELS] for film_class in CLASSES}
LEAST_PIXELS = 11.5
# For every text: its height in pixels of the screen, and what of it lies outside the picture.
TEXTS = """() => {
    const svg = document.querySelector('svg').getBoundingClientRect();
    const scale = svg.width / document.querySelector('svg').viewBox.baseVal.width;
    return [...document.querySelectorAll('text')].map(text => {
        const box = text.getBoundingClientRect();
        return {
            words: text.textContent,
            pixels: scale * parseFloat(text.getAttribute('font-size')),
            outside: box.left < svg.left || box.right > svg.right ||
                box.top < svg.top || box.bottom > svg.bottom,
        };
    });
}"""


def shown(visit: Visit, svg: str) -> list[dict[str, Any]]:
    """Show the picture across a phone, and return its texts."""
    visit.page.set_viewport_size(PHONE)  # type: ignore[arg-type]
    style = "<style>body{margin:0} svg{width:100%;height:auto;display:block}</style>"
    visit.page.set_content(style + svg)
    return list(visit.page.evaluate(TEXTS))


@pytest.mark.parametrize("body_size", ["medium", "small_van"])
@pytest.mark.parametrize("film_class", CLASSES)
def test_every_word_is_inside_the_picture_and_legible_on_a_phone(
    visit: Visit, film_class: FilmClass, body_size: str
) -> None:
    svg = car_plan(MARKS[film_class], body_size=body_size, title="TU21 ABC", notes=NOTES)
    texts = shown(visit, svg)
    assert len(texts) > len(PANELS)
    assert [text for text in texts if text["outside"]] == []
    small = [text for text in texts if text["pixels"] < LEAST_PIXELS]
    assert {text["words"] for text in small} <= {"LEFT", "RIGHT", "FRONT", "BACK"}
    assert visit.page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]


def test_it_loads_nothing_and_runs_nothing(visit: Visit) -> None:
    shown(visit, car_plan(MARKS[FilmClass.THIN], title="<script>alert(1)</script>"))
    assert visit.loaded == []
    assert visit.errors == []
    assert visit.page.locator("script").count() == 0
