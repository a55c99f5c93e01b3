"""The picture of the car: what stands on it, that anybody can read it, and that it is safe."""

import re
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.work.calc.car.areas import PANELS
from jobs.work.calc.paint.survey import FilmClass
from jobs.work.drawings.car_plan import FILLS, INK, Mark, car_plan
from jobs.work.drawings.car_shapes import HEIGHT, WIDTH, plan_of
from jobs.work.models import Job

SPACE = "{http://www.w3.org/2000/svg}"
MARKS = [
    Mark("bonnet", 118.4, FilmClass.AS_MADE),
    Mark("right_front_wing", 312, FilmClass.MUCH_BUILT_UP),
    Mark("left_front_door", 68, FilmClass.THIN),
    Mark("front_bumper", None, FilmClass.NO_READING),
]
SIZES = [*Job.BodySize.values, ""]


def parsed(svg: str) -> ET.Element:
    return ET.fromstring(svg)  # noqa: S314  our own output


def words(svg: str) -> list[str]:
    return [str(element.text) for element in parsed(svg).iter(f"{SPACE}text")]


def luminance(colour: str) -> float:
    """Return the relative luminance of a colour, WCAG 2.2."""
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    linear = [
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    ]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def points(path: str) -> list[tuple[float, float]]:
    numbers = [float(number) for number in re.findall(r"-?[\d.]+", path)]
    return list(zip(numbers[::2], numbers[1::2], strict=True))


def test_readings_and_classes_stand_on_it_in_figures_and_words() -> None:
    shown = words(car_plan(MARKS))
    for expected in ("118", "alike", "312", "68", "thin", "plastic", "LEFT", "RIGHT", "FRONT"):
        assert expected in shown
    assert "right front wing: 312, much thicker than the rest" in shown
    assert any("driver's seat" in text for text in shown)


def test_screen_readers_get_a_title_and_every_panel_in_words() -> None:
    root = parsed(car_plan(MARKS, title="TU21 ABC"))
    assert root.attrib["role"] == "img"
    title, description = root.find(f"{SPACE}title"), root.find(f"{SPACE}desc")
    assert title is not None
    assert description is not None
    assert root.attrib["aria-labelledby"] == f"{title.attrib['id']} {description.attrib['id']}"
    assert title.text == "Paint survey TU21 ABC"
    assert "bonnet: 118, like the rest" in str(description.text)
    assert "front bumper: no reading" in str(description.text)


def test_classes_differ_by_pattern_and_words_not_by_colour_alone() -> None:
    svg = car_plan(MARKS)
    patterns = re.findall(r"<pattern id=\"paint-plan-(\w+)\".*?</pattern>", svg)
    assert patterns == ["thin", "built_up", "much_built_up", "film_on_it"]
    drawings = re.findall(r"<pattern.*?/>(<.*?)</pattern>", svg)
    shapes_only = {re.sub(r"#\w{6}", "", drawing) for drawing in drawings}
    assert len(shapes_only) == 4


@pytest.mark.parametrize("film_class", list(FILLS))
def test_ink_stands_off_from_every_fill(film_class: FilmClass) -> None:
    """WCAG 2.2, 1.4.3: 4.5:1 for text."""
    light = luminance(FILLS[film_class][0])
    assert (light + 0.05) / (luminance(INK) + 0.05) > 10


def test_nothing_runs_and_nothing_is_fetched() -> None:
    root = parsed(car_plan(MARKS))
    names = {element.tag.removeprefix(SPACE) for element in root.iter()}
    assert names <= {"svg", "title", "desc", "defs", "pattern", "rect", "circle", "path", "text"}
    for element in root.iter():
        for name, value in element.attrib.items():
            assert not name.startswith("on")
            assert name not in {"href", "style", "src"}
            assert "url(" not in value or value.startswith("url(#paint-plan-")
            assert "http" not in value


@given(st.text())
def test_whatever_the_car_is_called_the_picture_stays_sound(title: str) -> None:
    clean = "".join(letter for letter in title if letter.isprintable())
    svg = car_plan(MARKS, title=clean)
    assert parsed(svg).tag == f"{SPACE}svg"
    assert len(list(parsed(svg).iter())) == len(list(parsed(car_plan(MARKS)).iter()))


@pytest.mark.parametrize("size", SIZES)
def test_left_is_left_and_right_its_mirror_image(size: str) -> None:
    shapes = {shape.panel: shape for shape in plan_of(size).panels}
    assert set(shapes) <= set(PANELS)
    for code, shape in shapes.items():
        assert all(0 <= x <= WIDTH and 0 <= y <= HEIGHT for x, y in points(shape.path))
        if code.startswith("left_") and code != "left_load_door":
            right = shapes[PANELS[code].twin]
            assert shape.x < WIDTH / 2 < right.x
            assert [(WIDTH - x, y) for x, y in points(shape.path)] == points(right.path)


@pytest.mark.parametrize("size", SIZES)
def test_no_panel_goes_missing(size: str) -> None:
    """A panel that the drawing has no place for is told in words below it."""
    marks = [Mark(code, 1000 + place, FilmClass.AS_MADE) for place, code in enumerate(PANELS)]
    shown = " ".join(words(car_plan(marks, body_size=size)))
    assert all(mark.figure in shown for mark in marks)


@pytest.mark.parametrize(
    "film_class", [film_class for film_class in FilmClass if film_class != "not_measured"]
)
def test_every_class_can_be_drawn_on_every_panel(film_class: FilmClass) -> None:
    marks = [Mark(code, 120, film_class) for code in PANELS]
    assert film_class.word in " ".join(words(car_plan(marks)))


def test_notes_stand_below_in_lines_that_fit_and_in_the_words_for_screen_readers() -> None:
    note = "The steel panels form two groups, 2 at about 100 and 3 at about 200 microns: take care."
    svg = car_plan(MARKS, notes=[note, "Film, wrap or repaint: check for a film first."])
    shown = words(svg)
    assert note in " ".join(shown)
    assert max(map(len, shown)) <= 60
    assert note in "".join(parsed(svg).itertext())
    height = float(parsed(svg).attrib["height"])
    assert all(float(element.attrib["y"]) < height for element in parsed(svg).iter(f"{SPACE}text"))


def test_without_readings_there_is_an_empty_car() -> None:
    assert "nothing measured yet" in car_plan([])
