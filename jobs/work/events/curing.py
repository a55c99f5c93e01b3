"""The event of a wait that lasts longer, or less long, than was told."""

from jobs.work.events.jobs import JOB_EXAMPLE, TEXT, TIME, kind, maybe
from notifications.catalogue import register

_LATER = "What cures or dries on it needs longer than was told."
_SOONER = "What cures or dries on it is done sooner than was told."

JOB_WAIT_CHANGED = kind(
    "job.wait_changed",
    "What cures or dries on the car is done at another time than was told.",
    {
        "headline": TEXT,
        "until": {
            **maybe(TIME),
            "description": "When the last of it is done, at the latest; null: nobody can say.",
        },
        "was": {**maybe(TIME), "description": "What was told before; null: nobody could say."},
        "earliest": {**TIME, "description": "Not done before this, by what was measured so far."},
        "reason": TEXT,
    },
    {
        "job": {**JOB_EXAMPLE, "stage": "curing", "version": 6},
        "headline": _LATER,
        "until": "2027-03-01T13:25:00Z",
        "was": "2027-03-01T11:40:00Z",
        "earliest": "2027-03-01T12:10:00Z",
        "reason": "It was colder than before: 6.5 °C in the workshop.",
    },
)
register(JOB_WAIT_CHANGED)


def wait_headline(*, later: bool) -> str:
    """Return the change in one line."""
    return _LATER if later else _SOONER
