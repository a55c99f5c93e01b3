"""Is the service alive, is it ready, and its numbers: /healthz, /readyz, /metrics.

A worker can be alive and yet consume nothing, so readiness does not ask whether processes run:
it asks how old the oldest work is that should have been done. Each app registers what it can
say of itself; core knows none of them.
"""

from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import asdict, dataclass, field
from datetime import datetime
from functools import wraps

import orjson
import structlog
from django.conf import settings
from django.db import Error as DatabaseError
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.http import HttpRequest, HttpResponse
from prometheus_client import CONTENT_TYPE_LATEST
from prometheus_client.core import GaugeMetricFamily
from prometheus_client.registry import Collector

from core.answers import problem_response
from core.clock import now
from core.models import Sweep
from core.numbers import bears_token, text
from core.problems import NotFound, Unavailable, WrongMethod
from core.sweeps import part_of, sweeps_by_queue

log = structlog.get_logger(__name__)

# All of a worker's processes may be busy for as long as a task may run (task_time_limit); later
# than this beyond its period, nobody sweeps.
SWEEP_GRACE_SECONDS = 300
RETRY_AFTER_SECONDS = 5
LIVE = b'{"status":"live"}'


@dataclass(frozen=True, slots=True)
class Reading:
    """What a probe saw: good or not, in words, and in figures (None: there is none yet)."""

    good: bool
    says: str
    figures: Mapping[str, float | None] = field(default_factory=dict)


Probe = Callable[[], Reading]
View = Callable[[HttpRequest], HttpResponse]
_probes: dict[str, Probe] = {}


def register_probe(name: str, probe: Probe) -> None:
    """Ask this probe too, for /readyz and, as `shutline_<figure>`, for /metrics."""
    _probes[name] = probe


def readings() -> dict[str, Reading]:
    """Ask every probe, the database first: where it is silent, nobody else is asked."""
    found: dict[str, Reading] = {}
    for name, probe in _probes.items():
        try:
            found[name] = probe()
        except DatabaseError as error:
            # The reason is for the log: it can name hosts and users.
            log.error("probe_failed", probe=name, error=str(error))  # noqa: TRY400  no stack needed
            found[name] = Reading(good=False, says="The database does not answer.")
            break
    for name in _probes.keys() - found.keys():
        found[name] = Reading(good=False, says="Not asked: the database does not answer.")
    return found


def probe_database() -> Reading:
    """Ask the database for a row."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1")
        cursor.fetchone()
    return Reading(good=True, says="The database answers.")


class MigrationsProbe:
    """Says whether migrations are pending; once none is, none can come while this code runs."""

    def __init__(self) -> None:
        self.up_to_date = False

    def __call__(self) -> Reading:
        if not self.up_to_date:
            executor = MigrationExecutor(connection)
            self.up_to_date = not executor.migration_plan(executor.loader.graph.leaf_nodes())
        if self.up_to_date:
            return Reading(good=True, says="The database is up to date.")
        return Reading(good=False, says="Migrations are pending: run `manage.py migrate`.")


def probe_sweep() -> Reading:
    """Say when workers of each queue last took a sweep: it takes beat, the broker and them for it.

    The queue that was served longest ago decides: a worker of the other one proves nothing of it.
    """
    ran = dict(Sweep.objects.values_list("name", "last_run_at"))
    latest = {queue: _latest(ran, names) for queue, names in sweeps_by_queue().items()}
    unserved = [part_of(queue) for queue, moment in latest.items() if moment is None]
    if unserved:
        return Reading(
            good=False,
            says=f"No sweep has run yet of {' and '.join(unserved)}: start workers and beat.",
            figures={"last_sweep_age_seconds": None},
        )
    queue, moment = min(latest.items(), key=lambda served: served[1] or now())
    age = max((now() - (moment or now())).total_seconds(), 0.0)
    limit = settings.SWEEP_SECONDS + SWEEP_GRACE_SECONDS
    says = f"The last sweep of {part_of(queue)} ran {age:.0f} s ago; {limit} s is the limit."
    if age > limit:
        says += " Look at beat, the broker and the workers."
    return Reading(good=age <= limit, says=says, figures={"last_sweep_age_seconds": age})


def _latest(ran: Mapping[str, datetime], names: Collection[str]) -> datetime | None:
    return max((ran[name] for name in names if name in ran), default=None)


register_probe("database", probe_database)
register_probe("migrations", MigrationsProbe())
register_probe("sweep", probe_sweep)


def read_only(view: View) -> View:
    """Answer GET and HEAD only, and let nobody keep the answer."""

    @wraps(view)
    def guarded(request: HttpRequest) -> HttpResponse:
        if request.method not in {"GET", "HEAD"}:
            return problem_response(
                WrongMethod("This address is only read.", headers={"Allow": "GET, HEAD"})
            )
        response = view(request)
        response.headers["Cache-Control"] = "no-store"
        return response

    return guarded


@read_only
def live(_request: HttpRequest) -> HttpResponse:
    """Answer that this process takes requests; asks nothing and nobody."""
    return HttpResponse(LIVE, content_type="application/json")


@read_only
def ready(_request: HttpRequest) -> HttpResponse:
    """Answer 200 where every probe is good, else 503 naming those that are not."""
    found = readings()
    probes = {name: asdict(reading) for name, reading in found.items()}
    bad = [name for name, reading in found.items() if not reading.good]
    if not bad:
        body = orjson.dumps({"status": "ready", "probes": probes})
        return HttpResponse(body, content_type="application/json")
    return problem_response(
        Unavailable(
            f"Not ready: {', '.join(bad)}.",
            next_step="Do what the probes in errors say; the logs hold the details.",
            errors=[{"field": name, "message": found[name].says} for name in bad],
            extra={"probes": probes},
            headers={"Retry-After": str(RETRY_AFTER_SECONDS)},
        )
    )


class ProbeCollector(Collector):
    """The probes' figures as gauges, read at the moment of the scrape."""

    def collect(self) -> Iterator[GaugeMetricFamily]:
        found = readings()
        good = GaugeMetricFamily("shutline_probe_good", "1: good, 0: not.", labels=["probe"])
        for name, reading in found.items():
            good.add_metric([name], float(reading.good))
        yield good
        for name, reading in found.items():
            for figure, value in reading.figures.items():
                if value is not None:
                    yield GaugeMetricFamily(f"shutline_{figure}", f"By probe {name}.", value=value)


def metrics(request: HttpRequest) -> HttpResponse:
    """Answer with the numbers to whoever has their token; to others this address is not there.

    Who reads them from a network of theirs asks at the address of SHUTLINE_METRICS_LISTEN.
    """
    if not bears_token(request.headers.get("Authorization", "")):
        return problem_response(NotFound("There is nothing at this address."))
    return _numbers(request)


@read_only
def _numbers(_request: HttpRequest) -> HttpResponse:
    return HttpResponse(text(ProbeCollector()), content_type=CONTENT_TYPE_LATEST)
