"""The paint system by test, and what can be done about fade: common practice, no source."""

import pytest

from jobs.calc.paint_system import (
    FADE_WORDS,
    Fade,
    PadColour,
    PadTest,
    PaintSystem,
    fade_of_panel,
    system_of,
    system_of_panel,
)

PAINT, WHITE, UNSURE = PadColour.PAINT, PadColour.WHITE, PadColour.UNSURE


def rubs(*colours: PadColour, panel: str = "bonnet") -> list[PadTest]:
    return [PadTest(panel, colour) for colour in colours]


@pytest.mark.parametrize(
    ("colours", "system"),
    [
        ((), PaintSystem.UNSURE),
        ((PAINT,), PaintSystem.SINGLE_STAGE),
        ((WHITE,), PaintSystem.CLEAR_OVER_BASE),
        ((UNSURE,), PaintSystem.UNSURE),
        ((PAINT, PAINT), PaintSystem.SINGLE_STAGE),
        ((PAINT, UNSURE), PaintSystem.SINGLE_STAGE),
        ((WHITE, UNSURE), PaintSystem.CLEAR_OVER_BASE),
        ((PAINT, WHITE), PaintSystem.UNSURE),
        ((WHITE, WHITE, PAINT), PaintSystem.UNSURE),
    ],
)
def test_what_comes_off_on_the_pad_tells_the_system(
    colours: tuple[PadColour, ...], system: PaintSystem
) -> None:
    assert system_of(rubs(*colours)) is system


def test_a_panels_own_test_outranks_the_cars() -> None:
    both = [*rubs(WHITE, panel="roof"), *rubs(PAINT, panel="left_front_door")]
    assert system_of_panel(both, "left_front_door") is PaintSystem.SINGLE_STAGE
    assert system_of_panel(both, "roof") is PaintSystem.CLEAR_OVER_BASE
    assert system_of_panel(both, "bonnet") is PaintSystem.UNSURE
    assert system_of_panel(both[:1], "bonnet") is PaintSystem.CLEAR_OVER_BASE


@pytest.mark.parametrize(
    ("colour", "faded", "darkens", "fade"),
    [
        (PAINT, True, True, Fade.LIFTS),
        (PAINT, True, False, Fade.UNSURE),
        (PAINT, True, None, Fade.UNSURE),
        (PAINT, False, True, Fade.NONE),
        (WHITE, True, True, Fade.STAYS),
        (WHITE, True, False, Fade.STAYS),
        (WHITE, True, None, Fade.STAYS),
        (WHITE, False, None, Fade.NONE),
        (UNSURE, True, True, Fade.UNSURE),
    ],
)
def test_wet_faded_single_stage_lifts_and_fade_under_clear_stays(
    colour: PadColour, *, faded: bool, darkens: bool | None, fade: Fade
) -> None:
    """Wet, faded single-stage paint darkens and can be brought back; fade under clear cannot."""
    assert fade_of_panel([PadTest("bonnet", colour, faded, darkens)], "bonnet") is fade


def test_two_wettings_that_disagree_are_unsure() -> None:
    both = [
        PadTest("bonnet", PAINT, faded=True, darkens_when_wet=darkens) for darkens in (True, False)
    ]
    assert fade_of_panel(both, "bonnet") is Fade.UNSURE


def test_fade_elsewhere_says_nothing_of_this_panel() -> None:
    assert (
        fade_of_panel([PadTest("roof", PAINT, faded=True, darkens_when_wet=True)], "bonnet")
        is Fade.NONE
    )


def test_the_words_are_plain() -> None:
    assert "Fade beneath the clear cannot be polished back." in FADE_WORDS[Fade.STAYS]
    assert "darkened" in FADE_WORDS[Fade.LIFTS]
    assert set(FADE_WORDS) == set(Fade)
