"""The paint system by test, and what polish can do: common practice, no source."""

import pytest

from jobs.work.calc.paint.system import (
    COLOUR_NOT_KNOWN,
    DARK_CLOTH_ON_DARK,
    DISAGREE,
    FADE_WORDS,
    NO_TEST,
    NOT_SEEN,
    WHITE_PAD_ON_WHITE,
    Fade,
    Look,
    PadColour,
    PadTest,
    PaintSystem,
    RubbedWith,
    fade_of_panel,
    is_white,
    system_of,
    system_of_panel,
    why_unsure,
)

PAINT, WHITE, UNSURE, NOTHING = PadColour
WHITE_PAD, DARK_CLOTH = RubbedWith
SINGLE, CLEAR, NOT_SURE = PaintSystem
SOUND, DULL, FADED, PEELING = Look.SOUND, Look.DULL, Look.FADED, Look.PEELING


def rubs(*colours: PadColour, panel: str = "bonnet") -> list[PadTest]:
    """Return rubs with a white pad on paint that is not white."""
    return [PadTest(panel, colour, white_paint=False) for colour in colours]


def seen(
    pad: PadColour, look: Look, *, wet: bool | None = None, white_paint: bool | None = False
) -> list[PadTest]:
    return [PadTest("bonnet", pad, look, wet, white_paint)]


@pytest.mark.parametrize(
    ("colours", "system"),
    [
        ((), NOT_SURE),
        ((PAINT,), SINGLE),
        ((WHITE,), CLEAR),
        ((NOTHING,), CLEAR),
        ((UNSURE,), NOT_SURE),
        ((PAINT, PAINT), SINGLE),
        ((PAINT, UNSURE), SINGLE),
        ((WHITE, UNSURE), CLEAR),
        ((PAINT, WHITE), NOT_SURE),
        ((WHITE, WHITE, PAINT), NOT_SURE),
    ],
)
def test_what_comes_off_on_the_pad_tells_the_system(
    colours: tuple[PadColour, ...], system: PaintSystem
) -> None:
    assert system_of(rubs(*colours)) is system


@pytest.mark.parametrize(
    ("rubbed_with", "white_paint", "pad", "system", "why"),
    [
        (WHITE_PAD, True, WHITE, NOT_SURE, WHITE_PAD_ON_WHITE),
        (WHITE_PAD, True, NOTHING, NOT_SURE, WHITE_PAD_ON_WHITE),
        (WHITE_PAD, True, PAINT, NOT_SURE, WHITE_PAD_ON_WHITE),
        (DARK_CLOTH, True, PAINT, SINGLE, ""),
        (DARK_CLOTH, True, NOTHING, CLEAR, ""),
        (DARK_CLOTH, True, UNSURE, NOT_SURE, NOT_SEEN),
        (DARK_CLOTH, None, PAINT, SINGLE, ""),  # who takes a dark cloth has white paint
        (DARK_CLOTH, None, NOTHING, CLEAR, ""),
        (DARK_CLOTH, False, PAINT, NOT_SURE, DARK_CLOTH_ON_DARK),
        (DARK_CLOTH, False, NOTHING, NOT_SURE, DARK_CLOTH_ON_DARK),
        (WHITE_PAD, False, WHITE, CLEAR, ""),
        (WHITE_PAD, None, WHITE, NOT_SURE, COLOUR_NOT_KNOWN),
        (WHITE_PAD, None, PAINT, SINGLE, ""),
    ],
)
def test_on_white_a_dark_cloth_decides(
    rubbed_with: RubbedWith,
    *,
    white_paint: bool | None,
    pad: PadColour,
    system: PaintSystem,
    why: str,
) -> None:
    tests = [PadTest("bonnet", pad, white_paint=white_paint, rubbed_with=rubbed_with)]
    assert system_of(tests) is system
    assert why_unsure(tests) == why


def test_a_dark_cloth_outranks_the_white_pad_before_it() -> None:
    pad = PadTest("bonnet", WHITE, white_paint=True)
    cloth = PadTest("bonnet", PAINT, white_paint=True, rubbed_with=DARK_CLOTH)
    assert system_of([pad, cloth]) is SINGLE


def test_without_a_test_or_with_two_that_disagree_it_says_so() -> None:
    assert why_unsure([]) == NO_TEST
    assert why_unsure(rubs(PAINT, WHITE)) == DISAGREE


@pytest.mark.parametrize(
    ("colour", "white"),
    [
        ("White", True),
        ("arctic WHITE metallic", True),
        ("Ivory", True),
        ("off-white", True),
        ("Slate grey", False),
        ("Whitby blue", False),
        ("", None),
        (" - ", None),
    ],
)
def test_the_name_of_a_colour_says_whether_it_is_white(colour: str, *, white: bool | None) -> None:
    assert is_white(colour) is white


def test_a_panels_own_test_outranks_the_cars() -> None:
    both = [*rubs(WHITE, panel="roof"), *rubs(PAINT, panel="left_front_door")]
    assert system_of_panel(both, "left_front_door") is SINGLE
    assert system_of_panel(both, "roof") is CLEAR
    assert system_of_panel(both, "bonnet") is NOT_SURE
    assert system_of_panel(both[:1], "bonnet") is CLEAR


@pytest.mark.parametrize(
    ("pad", "look", "wet", "fade"),
    [
        (PAINT, FADED, True, Fade.LIFTS),
        (PAINT, FADED, False, Fade.UNSURE),
        (PAINT, FADED, None, Fade.UNSURE),
        (PAINT, SOUND, True, Fade.NONE),
        (PAINT, Look.NOT_SAID, True, Fade.NONE),
        (WHITE, FADED, False, Fade.STAYS),
        (WHITE, FADED, None, Fade.STAYS),
        (WHITE, FADED, True, Fade.UNSURE),  # water changes nothing beneath a sound clear
        (WHITE, SOUND, None, Fade.NONE),
        (UNSURE, FADED, True, Fade.UNSURE),
        (WHITE, DULL, None, Fade.OFTEN_LIFTS),
        (PAINT, DULL, None, Fade.OFTEN_LIFTS),
        (UNSURE, DULL, True, Fade.OFTEN_LIFTS),
        (WHITE, PEELING, None, Fade.PEELS),
        (PAINT, PEELING, True, Fade.PEELS),
    ],
)
def test_dull_faded_and_peeling_are_different_things(
    pad: PadColour, look: Look, *, wet: bool | None, fade: Fade
) -> None:
    assert fade_of_panel(seen(pad, look, wet=wet), "bonnet") is fade


@pytest.mark.parametrize("white_paint", [True, None])
def test_white_paint_on_a_white_pad_never_becomes_only_paint_helps(
    *, white_paint: bool | None
) -> None:
    faded = seen(WHITE, FADED, wet=True, white_paint=white_paint)
    assert system_of(faded) is NOT_SURE
    assert fade_of_panel(faded, "bonnet") is Fade.UNSURE


def test_the_worst_that_is_seen_on_a_panel_counts() -> None:
    both = [*seen(WHITE, DULL), *seen(WHITE, PEELING)]
    assert fade_of_panel(both, "bonnet") is Fade.PEELS
    assert fade_of_panel(both[:1], "bonnet") is Fade.OFTEN_LIFTS


def test_two_wettings_that_disagree_are_unsure() -> None:
    both = [*seen(PAINT, FADED, wet=True), *seen(PAINT, FADED, wet=False)]
    assert fade_of_panel(both, "bonnet") is Fade.UNSURE


def test_fade_elsewhere_says_nothing_of_this_panel() -> None:
    assert (
        fade_of_panel([PadTest("roof", PAINT, FADED, darkens_when_wet=True)], "bonnet") is Fade.NONE
    )


def test_the_words_are_plain() -> None:
    assert "Fade beneath the clear cannot be polished back." in FADE_WORDS[Fade.STAYS]
    assert "darkened" in FADE_WORDS[Fade.LIFTS]
    assert "often polishes up" in FADE_WORDS[Fade.OFTEN_LIFTS]
    assert "cannot be polished back" in FADE_WORDS[Fade.PEELS]
    assert set(FADE_WORDS) == set(Fade)
