"""Single-stage or clear over base, and whether fade can be polished back.

A white pad with a little polish takes colour from single-stage paint and none through clear coat.
Wet, faded single-stage paint darkens and can be brought back; fade beneath the clear cannot.
All of it is common practice, no source.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum


class PadColour(StrEnum):
    """What came off on the pad."""

    PAINT = "paint"
    WHITE = "white"
    UNSURE = "unsure"


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
    """What can be done about fade."""

    NONE = "none"
    LIFTS = "can_be_brought_back"
    STAYS = "cannot_be_polished_back"
    UNSURE = "unsure"


FADE_WORDS = {
    Fade.NONE: "",
    Fade.LIFTS: (
        "Wet, the faded single-stage paint darkened: the colour is there and can be brought back."
    ),
    Fade.STAYS: (
        "Fade beneath the clear cannot be polished back. Tell the dealer; only paint helps."
    ),
    Fade.UNSURE: (
        "Whether this fade can be polished back is not known: test with a white pad and with "
        "water, then try one small place."
    ),
}


@dataclass(frozen=True, slots=True)
class PadTest:
    """One try on one panel."""

    panel: str
    pad_colour: PadColour
    faded: bool = False
    darkens_when_wet: bool | None = None


_BY_PAD = {
    PadColour.PAINT: PaintSystem.SINGLE_STAGE,
    PadColour.WHITE: PaintSystem.CLEAR_OVER_BASE,
}


def system_of(tests: Sequence[PadTest]) -> PaintSystem:
    """Return the system that the tests agree on; none, an unsure one alone, or two ways: unsure."""
    told = {_BY_PAD[one.pad_colour] for one in tests if one.pad_colour in _BY_PAD}
    return told.pop() if len(told) == 1 else PaintSystem.UNSURE


def system_of_panel(tests: Sequence[PadTest], panel: str) -> PaintSystem:
    """Return a panel's system by its own tests, else by the car's: refinished panels may differ."""
    own = [one for one in tests if one.panel == panel]
    return system_of(own or tests)


def fade_of_panel(tests: Sequence[PadTest], panel: str) -> Fade:
    """Return what can be done about the fade seen on a panel."""
    own = [one for one in tests if one.panel == panel]
    if not any(one.faded for one in own):
        return Fade.NONE
    system = system_of_panel(tests, panel)
    if system is PaintSystem.CLEAR_OVER_BASE:
        return Fade.STAYS
    wetted = {one.darkens_when_wet for one in own if one.faded} - {None}
    if system is PaintSystem.SINGLE_STAGE and wetted == {True}:
        return Fade.LIFTS
    return Fade.UNSURE
