"""What is counted of notices and e-mails, and which endpoints are worst just now."""

from collections.abc import Iterator
from datetime import timedelta
from uuid import UUID

from django.db import connection
from prometheus_client import Counter, Histogram

from core.clock import now
from core.counting import FAILED, GOOD
from core.health import Figures, register_figures
from notifications.models import Endpoint

ARRIVED = "arrived"
# Every way in which an attempt can end, so that the first failure of a kind is an increase.
OUR_FAULTS = ("key_missing", "fault")
WEBHOOK_ENDS = (
    ARRIVED, "redirect", "refused", "receiver_failed", "no_answer_in_time", "name_not_found",
    "no_connection", "address_not_allowed", "tls", "broke_off", "bad_url", *OUR_FAULTS,
)  # fmt: skip
EMAIL_ENDS = (ARRIVED, "mail_refused", "mail_not_sent", *OUR_FAULTS)
ATTEMPTS = Counter(
    "shutline_delivery_attempts", "Attempts to hand over a notice.", ["channel", "ended"]
)
ATTEMPT_SECONDS = Histogram(
    "shutline_delivery_attempt_seconds",
    "Seconds an attempt took.",
    ["channel"],
    buckets=(0.1, 0.5, 1.0, 5.0, 20.0),
)
DELAY = Histogram(
    "shutline_delivery_delay_seconds",
    "Seconds from when a notice was due until its attempt ended.",
    buckets=(0.5, 1.0, 5.0, 30.0, 120.0, 600.0),
)
EMAILS = Counter("shutline_emails", "E-mails handed to the mail server.", ["kind", "result"])
for _channel, _ends in (("webhook", WEBHOOK_ENDS), ("email", EMAIL_ENDS)):
    for _end in _ends:
        ATTEMPTS.labels(_channel, _end)
for _kind in ("notice", "endpoint"):
    for _result in (GOOD, FAILED):
        EMAILS.labels(_kind, _result)

MOST_NAMED = 10
# Attempts looked at: the last so many, and none that is older. Their ids follow time.
LOOK_BACK_ATTEMPTS = 1000
LOOK_BACK = timedelta(minutes=15)
_RECENT = """
SELECT d.endpoint_id, COUNT(CASE WHEN a.error <> '' THEN 1 END), AVG(a.milliseconds)
  FROM (SELECT delivery_id, started_at, milliseconds, error FROM notifications_attempt
         ORDER BY id DESC LIMIT %s) a
  JOIN notifications_delivery d ON d.id = a.delivery_id
 WHERE a.started_at >= %s
 GROUP BY d.endpoint_id
"""


def register() -> None:
    """Hand the worst endpoints over to core, for /metrics."""
    register_figures(worst_endpoints)


def worst_endpoints() -> Iterator[Figures]:
    """Yield by id, ten at most of each: who fails for longest, fails most, answers slowest.

    What it reads does not grow with history: ten rows of an index, and the last attempts.
    """
    moment = now()
    failing = Endpoint.objects.filter(
        failing_since__isnull=False, state=Endpoint.State.ON, deleted_at=None
    )
    longest = failing.order_by("failing_since").values_list("pk", "failing_since")[:MOST_NAMED]
    yield Figures(
        "endpoint_failing_seconds",
        "The endpoints that have failed for longest.",
        "endpoint",
        {str(pk): (moment - since).total_seconds() for pk, since in longest if since},
    )
    since = connection.ops.adapt_datetimefield_value(moment - LOOK_BACK)
    with connection.cursor() as cursor:
        cursor.execute(_RECENT, [LOOK_BACK_ATTEMPTS, since])
        # SQLite keeps a UUID as text.
        recent = [(str(UUID(str(pk))), *figures) for pk, *figures in cursor.fetchall()]
    yield Figures(
        "endpoint_recent_failures",
        "Of the last attempts, those that failed, at the worst endpoints.",
        "endpoint",
        worst({pk: float(failures) for pk, failures, _ in recent if failures}),
    )
    yield Figures(
        "endpoint_recent_seconds",
        "Mean seconds of the last attempts, at the slowest endpoints.",
        "endpoint",
        worst({pk: float(mean) / 1000 for pk, _, mean in recent}),
    )


def worst(figures: dict[str, float]) -> dict[str, float]:
    """Return the ten highest."""
    return dict(sorted(figures.items(), key=lambda item: -item[1])[:MOST_NAMED])
