"""Single-stage or clear over base, and whether what is seen on the paint can be polished away.

A pad with a little polish takes colour from single-stage paint and none through clear coat. On
white paint a white pad shows nothing either way; there a dark cloth decides. Faded single-stage
paint darkens when wet and can be brought back; fade beneath the clear cannot. Dull clear often
polishes up; peeling clear does not. All of it is common practice, no source.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum


class PadColour(StrEnum):
    """What came off on the pad or cloth: the paint's own colour, nothing of it, or not sure.

    "White" is nothing of the paint, said of a white pad; it may be white, grey or clean.
    """

    PAINT = "paint"
    WHITE = "white"
    UNSURE = "unsure"
    NOTHING = "nothing"


class RubbedWith(StrEnum):
    """What the paint was rubbed with."""

    WHITE_PAD = "white_pad"
    DARK_CLOTH = "dark_cloth"


class Look(StrEnum):
    """What is seen on the paint; the worst of it counts. Empty: not said."""

    NOT_SAID = ""
    SOUND = "sound"
    DULL = "dull"
    FADED = "faded"
    PEELING = "peeling"


class PaintSystem(StrEnum):
    """What polishing works on: the colour itself, or the clear coat over it."""

    SINGLE_STAGE = "single_stage"
    CLEAR_OVER_BASE = "clear_over_base"
    UNSURE = "unsure"

    @property
    def words(self) -> str:
        """Return the system in plain words."""
        return {
            PaintSystem.SINGLE_STAGE: "single-stage",
            PaintSystem.CLEAR_OVER_BASE: "clear over base",
            PaintSystem.UNSURE: "not sure",
        }[self]


class Fade(StrEnum):
    """What can be done about what is seen."""

    NONE = "none"
    LIFTS = "can_be_brought_back"
    STAYS = "cannot_be_polished_back"
    UNSURE = "unsure"
    OFTEN_LIFTS = "often_polishes_up"
    PEELS = "peeling"


FADE_WORDS = {
    Fade.NONE: "",
    Fade.LIFTS: (
        "Wet, the faded single-stage paint darkened: the colour is there and can be brought back."
    ),
    Fade.STAYS: (
        "Fade beneath the clear cannot be polished back. Tell the dealer; only paint helps."
    ),
    Fade.UNSURE: (
        "Whether this fade can be polished back is not known: test with a pad (on white paint with "
        "a dark cloth) and with water, then try one small place."
    ),
    Fade.OFTEN_LIFTS: (
        "Dull paint often polishes up, clear coat as well: try one small place with the mildest "
        "pad and polish first."
    ),
    Fade.PEELS: (
        "Peeling paint cannot be polished back; a machine lifts more of it. Tell the dealer; only "
        "paint helps."
    ),
}
NO_TEST = "No test yet: rub with a white pad, on white paint with a dark cloth."
WHITE_PAD_ON_WHITE = (
    "White paint leaves a white pad whatever it is: rub with a dark cloth, and with a polish that "
    "is not white."
)
COLOUR_NOT_KNOWN = "Is the paint white? On white a white pad shows nothing: say so with the test."
DARK_CLOTH_ON_DARK = "A dark cloth shows nothing on dark paint: rub with a white pad."
DISAGREE = "The tests disagree: panels painted again may differ. Test this panel again."
NOT_SEEN = "The test showed nothing for sure: rub again in a clean place."
_WHITES = frozenset({"white", "ivory", "cream", "magnolia", "pearl"})


@dataclass(frozen=True, slots=True)
class PadTest:
    """One try on one panel. `white_paint`: white or nearly so; None where nobody knows."""

    panel: str
    pad_colour: PadColour
    look: Look = Look.NOT_SAID
    darkens_when_wet: bool | None = None
    white_paint: bool | None = None
    rubbed_with: RubbedWith = RubbedWith.WHITE_PAD

    @property
    def system(self) -> PaintSystem:
        """Return the system that this one test shows."""
        if self.pad_colour is PadColour.UNSURE or self.blind_because:
            return PaintSystem.UNSURE
        if self.pad_colour is PadColour.PAINT:
            return PaintSystem.SINGLE_STAGE
        return PaintSystem.CLEAR_OVER_BASE

    @property
    def blind_because(self) -> str:
        """Return why nothing can be seen by such a test, empty where something can."""
        if self.rubbed_with is RubbedWith.DARK_CLOTH:
            return DARK_CLOTH_ON_DARK if self.white_paint is False else ""
        if self.white_paint:
            return WHITE_PAD_ON_WHITE
        # The paint's own colour on a white pad was told from the pad: the paint is not white.
        if self.white_paint is None and self.pad_colour is not PadColour.PAINT:
            return COLOUR_NOT_KNOWN
        return ""


def is_white(colour: str) -> bool | None:
    """Return whether a colour's name is one of white or nearly white; None without a name."""
    words = set(re.findall(r"[a-z]+", colour.lower()))
    return bool(words & _WHITES) if words else None


def system_of(tests: Sequence[PadTest]) -> PaintSystem:
    """Return the system that the tests agree on; none, an unsure one alone, or two ways: unsure."""
    shown = {test.system for test in tests} - {PaintSystem.UNSURE}
    return shown.pop() if len(shown) == 1 else PaintSystem.UNSURE


def why_unsure(tests: Sequence[PadTest]) -> str:
    """Return why the system is not sure and what to do about it; empty where it is sure."""
    if system_of(tests) is not PaintSystem.UNSURE:
        return ""
    if not tests:
        return NO_TEST
    if {test.system for test in tests} - {PaintSystem.UNSURE}:
        return DISAGREE
    return tests[-1].blind_because or NOT_SEEN


def tests_for(tests: Sequence[PadTest], panel: str) -> Sequence[PadTest]:
    """Return a panel's own tests, else the car's: panels painted again may differ."""
    return [test for test in tests if test.panel == panel] or tests


def system_of_panel(tests: Sequence[PadTest], panel: str) -> PaintSystem:
    """Return a panel's system by its own tests, else by the car's."""
    return system_of(tests_for(tests, panel))


def fade_of_panel(tests: Sequence[PadTest], panel: str) -> Fade:
    """Return what can be done about what is seen on a panel; the worst of it counts."""
    own = [test for test in tests if test.panel == panel]
    looks = {test.look for test in own}
    if Look.PEELING in looks:
        return Fade.PEELS
    if Look.FADED in looks:
        return _fade(own, system_of_panel(tests, panel))
    return Fade.OFTEN_LIFTS if Look.DULL in looks else Fade.NONE


def _fade(own: Sequence[PadTest], system: PaintSystem) -> Fade:
    """Return what can be done about fade.

    Water changes nothing of fade beneath a sound clear coat; where it darkens, the surface itself
    is dull, and nobody knows yet what a polish will do.
    """
    wetted = {test.darkens_when_wet for test in own if test.look is Look.FADED} - {None}
    if system is PaintSystem.SINGLE_STAGE and wetted == {True}:
        return Fade.LIFTS
    if system is PaintSystem.CLEAR_OVER_BASE and True not in wetted:
        return Fade.STAYS
    return Fade.UNSURE
