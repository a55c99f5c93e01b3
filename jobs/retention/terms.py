"""The kinds of data that have a term, and how long each is kept at least.

The defaults stand in SHUTLINE_KEEP_DAYS (`core/settings.py`). Reasons, from memory and no advice:
the UK GDPR, article 5(1)(e), wants personal data kept no longer than needed; a claim from a
contract can be brought for six years (Limitation Act 1980, section 5).
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum


class DataKind(StrEnum):
    """What a term is for; the codes are stored and set, so they only grow."""

    PERSONAL = "personal"
    PICTURES = "pictures"
    HISTORY = "history"
    READINGS = "readings"
    NOTICES = "notices"
    ATTEMPTS = "attempts"
    IMPORTS = "imports"
    SIGN_INS = "sign_ins"
    OPERATOR = "operator"
    MAIL = "mail"


@dataclass(frozen=True, slots=True)
class About:
    """What a kind of data is, what its term runs from, and the least that may be set."""

    what: str
    runs_from: str
    least_days: int
    by_workshop: bool = False


CLOSED = "the collection, or else the end of the order"
KINDS: Mapping[DataKind, About] = {
    DataKind.PERSONAL: About(
        "contacts, belongings, walk-rounds and notes of a car", CLOSED, 30, by_workshop=True
    ),
    DataKind.PICTURES: About("photographs of a car", CLOSED, 30, by_workshop=True),
    DataKind.HISTORY: About(
        "names and words of a car; its figures stay", CLOSED, 365, by_workshop=True
    ),
    # A reading of up to 60 days ago still moves what is curing, and a car may stand here longer.
    DataKind.READINGS: About("readings of the air", "when they were taken", 120, by_workshop=True),
    # An endpoint may be off for weeks and is then sent everything again.
    DataKind.NOTICES: About("notices with their deliveries", "when they were written", 30),
    # Longer than the retries of a notice take.
    DataKind.ATTEMPTS: About("attempts to deliver a notice", "when they were made", 7),
    DataKind.IMPORTS: About("lists of orders as they were sent", "when they were taken in", 7),
    DataKind.SIGN_INS: About("failed sign-ins", "the last of them", 1),
    DataKind.OPERATOR: About("what the operator changed at /admin/", "the change", 30),
    DataKind.MAIL: About("e-mails kept as files", "when they were written", 1),
}


def too_short(days: Mapping[str, int]) -> list[tuple[DataKind, int]]:
    """Return the kinds whose days are fewer than may be, with the least."""
    return [
        (kind, about.least_days) for kind, about in KINDS.items() if days[kind] < about.least_days
    ]
