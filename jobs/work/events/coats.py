"""The event of what a dealer supplied for the car."""

from jobs.work.events.jobs import TEXT, kind
from notifications.catalogue import register

SUPPLIED_TICKED = kind(
    "supplied.ticked",
    "Something the dealer supplied was received, fitted, or not used.",
    {"item": TEXT, "state": {"enum": ["received", "fitted", "not_used"]}, "note": TEXT},
    {"item": "Wheel trim", "state": "fitted", "note": "Right rear."},
)
register(SUPPLIED_TICKED)
