"""Whether a film or wrap lies on the paint: asked for before a thick panel is called repainted.

A protective film or a wrap adds 80 to 200 microns to what a gauge shows (common practice, no
source), as much as a repaint does. No gauge tells the two apart; a fingernail at an edge does.
"""

from collections.abc import Mapping
from enum import StrEnum

# The answer for a whole car stands under this code of our list of areas.
WHOLE_CAR = "whole_vehicle"
CHECK_FIRST = "Film, wrap or repaint: check for a film first."
HOW_TO_CHECK = "Look for an edge in the shuts and round the badges, and feel it with a fingernail."


class FilmAnswer(StrEnum):
    """What is known of a film or wrap on a panel."""

    YES = "yes"
    NO = "no"
    NOT_ASKED = "not_asked"

    @property
    def words(self) -> str:
        """Return the answer in plain words."""
        return {
            FilmAnswer.YES: "film or wrap on it",
            FilmAnswer.NO: "no film or wrap",
            FilmAnswer.NOT_ASKED: "not asked",
        }[self]


def film_on(answers: Mapping[str, FilmAnswer], panel: str) -> FilmAnswer:
    """Return what is known of a panel: its own answer, else the one for the whole car."""
    own = answers.get(panel, FilmAnswer.NOT_ASKED)
    if own is not FilmAnswer.NOT_ASKED:
        return own
    return answers.get(WHOLE_CAR, FilmAnswer.NOT_ASKED)
