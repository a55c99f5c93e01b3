"""What a sign-in may do by how it was shown to be somebody's: one table for pages and API.

A PIN is short and typed where others look on, so it is good for the day's work and for nothing
that outlasts the sign-in. What would be a way in afterwards (keys, people, tablets, where notices
and the forecast come from and go to) wants the password of the last minutes, whoever asks: a
browser that was left signed in makes no key either. Systems show a key instead; no row is for them.
"""

from dataclasses import dataclass
from datetime import timedelta
from enum import IntEnum
from functools import cache

from django.contrib.sessions.backends.base import SessionBase
from django.http import HttpRequest

from core.clock import now
from core.problems import PasswordNeeded

FRESH_FOR = timedelta(minutes=10)
SESSION_BY_PIN = "by_pin"
SESSION_PASSWORD_AT = "password_at"  # noqa: S105  the name of a place, no password
LOOKS = frozenset({"GET", "HEAD"})
BELOW = "/*"


class Proof(IntEnum):
    """How a sign-in was shown to be somebody's; each is good for what those before it are."""

    PIN = 0
    PASSWORD = 1
    FRESH_PASSWORD = 2


@dataclass(frozen=True, slots=True)
class Row:
    """What looking and changing want at an address; /* stands for all that is below it as well."""

    begins: str
    look: Proof
    change: Proof


_PIN, _PASSWORD, _FRESH = Proof

# The longest that fits counts; what fits none wants a fresh password.
TABLE = (
    # One's own way in and out. The forms about PIN and password ask for the password themselves.
    Row("/", _PIN, _PIN),
    Row("/sign-out", _PIN, _PIN),
    Row("/me/*", _PIN, _PIN),
    Row("/api/v1/session", _PIN, _PIN),
    # The day's work: cars and all that is noted about them, on tablet, desk and dashboard.
    Row("/tablet", _PIN, _PIN),
    Row("/tablet/who", _PIN, _PIN),
    Row("/tablet/climate", _PIN, _PIN),
    Row("/tablet/cars/*", _PIN, _PIN),
    Row("/desk", _PIN, _PIN),
    Row("/desk/cars/*", _PIN, _PIN),
    Row("/desk/over", _PIN, _PIN),
    Row("/desk/waiting", _PIN, _PIN),
    Row("/desk/log", _PIN, _PIN),
    Row("/desk/climate", _PIN, _PIN),
    Row("/desk/durations", _PIN, _PIN),
    Row("/desk/flow", _PIN, _PIN),
    Row("/desk/flow.csv", _PIN, _PIN),
    Row("/dashboard/*", _PIN, _PIN),
    Row("/api/v1/work-orders/*", _PIN, _PIN),
    Row("/api/v1/jobs/*", _PIN, _PIN),
    Row("/api/v1/ready", _PIN, _PIN),
    Row("/api/v1/findings/*", _PIN, _PIN),
    Row("/api/v1/walk-round-items", _PIN, _PIN),
    Row("/api/v1/areas", _PIN, _PIN),
    Row("/api/v1/photos/*", _PIN, _PIN),
    Row("/api/v1/requests/*", _PIN, _PIN),
    Row("/api/v1/refinishing-steps", _PIN, _PIN),
    Row("/api/v1/soiling-levels", _PIN, _PIN),
    Row("/api/v1/workshop/climate", _PIN, _PIN),
    Row("/api/v1/workshop/durations", _PIN, _PIN),
    Row("/api/v1/flow", _PIN, _PIN),
    Row("/api/v1/flow.csv", _PIN, _PIN),
    Row("/api/v1/events", _PIN, _PIN),
    Row("/api/v1/event-types", _PIN, _PIN),
    # What the workshop works by: read all day, changed by whoever signed in with the password.
    Row("/desk/set-up", _PIN, _PASSWORD),
    Row("/desk/due", _PIN, _PASSWORD),
    Row("/desk/operations/*", _PIN, _PASSWORD),
    Row("/desk/new-operation", _PIN, _PASSWORD),
    Row("/desk/packages/*", _PIN, _PASSWORD),
    Row("/desk/new-package", _PIN, _PASSWORD),
    Row("/desk/phrases/*", _PIN, _PASSWORD),
    Row("/desk/new-phrase", _PIN, _PASSWORD),
    Row("/desk/products/*", _PIN, _PASSWORD),
    Row("/desk/new-product", _PIN, _PASSWORD),
    Row("/api/v1/operations/*", _PIN, _PASSWORD),
    Row("/api/v1/packages/*", _PIN, _PASSWORD),
    Row("/api/v1/phrases/*", _PIN, _PASSWORD),
    Row("/api/v1/products/*", _PIN, _PASSWORD),
    # What outlasts the sign-in: a way in, or a place that this service calls from then on.
    Row("/tablet/make", _FRESH, _FRESH),
    Row("/desk/people/*", _PASSWORD, _FRESH),
    Row("/desk/dealers/*", _PASSWORD, _FRESH),
    Row("/desk/tablets/*", _PASSWORD, _FRESH),
    Row("/keys/*", _PASSWORD, _FRESH),
    Row("/desk/climate/set-up", _PIN, _FRESH),
    Row("/notices/*", _PASSWORD, _FRESH),
    Row("/api/v1/keys/*", _PASSWORD, _FRESH),
    Row("/api/v1/trade-accounts/*", _PASSWORD, _FRESH),
    Row("/api/v1/workshop/climate/setup", _PIN, _FRESH),
    Row("/api/v1/webhook-endpoints/*", _PASSWORD, _FRESH),
    Row("/api/v1/email-recipients/*", _PASSWORD, _FRESH),
)
_EXACT = {row.begins.removesuffix(BELOW): row for row in TABLE}


def row_for(template: str) -> Row | None:
    """Return the table's row for an address, as it is written in the routes; None: there is none.

    The parts of it that stand for an object may be written in any way.
    """
    parts = template.strip("/").split("/")
    for length in range(len(parts), 0, -1):
        row = _EXACT.get("/" + "/".join(parts[:length]))
        if row is not None and (length == len(parts) or row.begins.endswith(BELOW)):
            return row
    return None


@cache
def proof_asked(template: str, method: str) -> Proof:
    """Return what a call wants to be shown."""
    row = row_for(template)
    if row is None:
        return Proof.FRESH_PASSWORD
    return row.look if method in LOOKS else row.change


def proof_of(session: SessionBase) -> Proof:
    """Return how the sign-in was last shown to be somebody's."""
    if session.get(SESSION_BY_PIN):
        return Proof.PIN
    shown_at = session.get(SESSION_PASSWORD_AT, 0)
    age = now().timestamp() - shown_at
    return Proof.FRESH_PASSWORD if 0 <= age < FRESH_FOR.total_seconds() else Proof.PASSWORD


def note_password(session: SessionBase) -> None:
    """Note that the password was shown now, in a session that may have begun with a PIN."""
    session[SESSION_BY_PIN] = False
    session[SESSION_PASSWORD_AT] = int(now().timestamp())


def require_proof(request: HttpRequest) -> None:
    """Raise PasswordNeeded unless the sign-in was shown well enough for this call."""
    found = request.resolver_match
    asked = proof_asked(found.route if found else "", str(request.method))
    shown = proof_of(request.session)
    if shown >= asked:
        return
    minutes = int(FRESH_FOR.total_seconds() // 60)
    soon = f" within {minutes} minutes" if asked is Proof.FRESH_PASSWORD else ""
    raise PasswordNeeded(
        "Here a PIN is not enough."
        if shown is Proof.PIN
        else f"You gave your password more than {minutes} minutes ago; this wants it again.",
        next_step="Send your e-mail address and password to POST /api/v1/session, then make this "
        f"call again{soon}.",
        extra={"required_proof": asked.name.lower()},
    )
