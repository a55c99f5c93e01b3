"""Is the service alive, is it ready, and its numbers: /healthz, /readyz, /metrics.

A worker can be alive and yet consume nothing, so readiness does not ask whether processes run:
it asks how old the oldest work is that should have been done. Each app registers what it can
say of itself; core knows none of them.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import asdict, dataclass, field
from functools import wraps
from pathlib import Path
from shutil import disk_usage
from typing import Any

import orjson
import structlog
from celery import current_app
from django.conf import settings
from django.db import Error as DatabaseError
from django.db import connection
from django.http import HttpRequest, HttpResponse
from kombu.exceptions import OperationalError
from prometheus_client import CONTENT_TYPE_LATEST
from prometheus_client.core import GaugeMetricFamily
from prometheus_client.registry import Collector

from core.answers import problem_response
from core.clock import now
from core.field_keys import OTHER_KEYS, keys_fit
from core.numbers import bears_token, text
from core.problems import NotFound, Unavailable, WrongMethod
from core.queues import QUEUES
from core.schema import missing_migrations
from core.sweeps import part_of, sweep_ages

log = structlog.get_logger(__name__)

# With less room than this a photograph or a night of notices may fill the disk.
MEGABYTE = 1024 * 1024
LEAST_FREE_BYTES = 200 * MEGABYTE
BROKER_SECONDS = 1
RETRY_AFTER_SECONDS = 5
LIVE = b'{"status":"live"}'


@dataclass(frozen=True, slots=True)
class Reading:
    """What a probe saw: good or not, in words, and in figures (None: there is none yet)."""

    good: bool
    says: str
    figures: Mapping[str, float | None] = field(default_factory=dict)
    by_name: Mapping[str, Mapping[str, float]] = field(default_factory=dict)  # figures of several


@dataclass(frozen=True, slots=True)
class Figures:
    """Figures of several things for /metrics alone: their name, and one label that tells them."""

    name: str
    says: str
    label: str
    values: Mapping[str, float]


Probe = Callable[[], Reading]
View = Callable[[HttpRequest], HttpResponse]
_probes: dict[str, Probe] = {}
_figures: list[Callable[[], Iterable[Figures]]] = []


def register_probe(name: str, probe: Probe) -> None:
    """Ask this probe too, for /readyz and, as `shutline_<figure>`, for /metrics."""
    _probes[name] = probe


def register_figures(read: Callable[[], Iterable[Figures]]) -> None:
    """Read these too for /metrics, as `shutline_<name>`: few, and from the database's indexes."""
    if read not in _figures:
        _figures.append(read)


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


_CONNECTIONS = """
SELECT count(*) FILTER (WHERE state = 'active'),
       count(*) FILTER (WHERE state = 'idle'),
       count(*) FILTER (WHERE state LIKE 'idle in transaction%'),
       count(*),
       current_setting('max_connections')::int
  FROM pg_stat_activity WHERE backend_type = 'client backend'
"""
_CONNECTION_NAMES = ("active", "idle", "idle_in_transaction", "all", "limit")


def probe_database() -> Reading:
    """Ask the database for a row: on PostgreSQL, how many connections the server has."""
    says = "The database answers."
    with connection.cursor() as cursor:
        if connection.vendor != "postgresql":
            cursor.execute("SELECT 1")
            cursor.fetchone()
            return Reading(good=True, says=says)
        cursor.execute(_CONNECTIONS)
        (counts,) = cursor.fetchall()
    by_state = dict(zip(_CONNECTION_NAMES, map(float, counts), strict=True))
    return Reading(good=True, says=says, by_name={"database_connections": by_state})


def probe_migrations() -> Reading:
    """Say whether the database has every migration of this release, each time anew."""
    if missing_migrations():
        return Reading(good=False, says="Migrations are pending: run `manage.py migrate`.")
    return Reading(good=True, says="The database is up to date.")


def probe_sweep() -> Reading:
    """Say of each sweep how long ago it has done its work: one that fails each time is too old.

    It takes beat, the queue and a worker to sweep, and workers of one queue prove nothing of the
    other.
    """
    sweeps = sweep_ages(now())
    ages = {sweep.name: sweep.age_seconds for sweep in sweeps if sweep.age_seconds is not None}
    by_part: dict[str, list[float]] = {sweep.part: [] for sweep in sweeps}
    for sweep in sweeps:
        by_part[sweep.part] += [ages[sweep.name]] if sweep.name in ages else []
    unserved = [part for part, known in by_part.items() if not known]
    latest = None if unserved else max(min(known) for known in by_part.values())
    overdue = [sweep.says for sweep in sweeps if sweep.overdue]
    if unserved:
        says = f"No sweep has run yet of {' and '.join(unserved)}: start workers and beat."
    elif overdue:
        says = f"{'; '.join(overdue)}. Look at beat, the broker, the workers and their logs."
    else:
        says = "Every sweep has done its work in time."
    return Reading(
        good=not unserved and not overdue,
        says=says,
        figures={"last_sweep_age_seconds": latest},
        by_name={"sweep_age_seconds": ages},
    )


def probe_broker() -> Reading:
    """Say whether the queue can be reached: without it no sweep comes to a worker."""
    try:
        with current_app.connection_for_write() as link:
            link.ensure_connection(max_retries=1, interval_start=0, timeout=BROKER_SECONDS)
            channel: Any = link.default_channel  # of core/serving: each can say what waits
            waiting = {queue: float(channel.waiting(queue)) for queue in QUEUES}
    except (OperationalError, OSError) as error:  # kombu's own, or the network's
        log.warning("probe_failed", probe="broker", error=str(error))
        return Reading(good=False, says="The queue does not answer: look at the broker.")
    by_part = {part_of(queue): count for queue, count in waiting.items()}
    return Reading(good=True, says="The queue answers.", by_name={"queue_messages": by_part})


def probe_keys() -> Reading:
    """Say whether what is sealed in the database can be opened here."""
    if keys_fit():
        return Reading(good=True, says="The field keys are those of the database.")
    return Reading(good=False, says=OTHER_KEYS)


def probe_disk() -> Reading:
    """Say how much room there is where the service keeps files."""
    folder = Path(settings.DATA_DIR).absolute()
    while not folder.exists():  # with servers nothing may have been written there yet
        folder = folder.parent
    free = disk_usage(folder).free
    says = f"{free // MEGABYTE} MB are free in the data folder; {LEAST_FREE_BYTES // MEGABYTE} MB "
    says += "is the least."
    return Reading(
        good=free >= LEAST_FREE_BYTES, says=says, figures={"disk_free_bytes": float(free)}
    )


register_probe("database", probe_database)
register_probe("migrations", probe_migrations)
register_probe("sweep", probe_sweep)
register_probe("broker", probe_broker)
register_probe("disk", probe_disk)
register_probe("keys", probe_keys)


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
            for figure, values in reading.by_name.items():
                gauge = GaugeMetricFamily(
                    f"shutline_{figure}", f"By probe {name}.", labels=["name"]
                )
                for of, value in values.items():
                    gauge.add_metric([of], value)
                yield gauge
        if found["database"].good:
            yield from self.further()

    @staticmethod
    def further() -> Iterator[GaugeMetricFamily]:
        """Yield what is read for /metrics alone, as far as the database goes on answering."""
        try:
            for figures in (figures for read in _figures for figures in read()):
                name = f"shutline_{figures.name}"
                gauge = GaugeMetricFamily(name, figures.says, labels=[figures.label])
                for of, value in figures.values.items():
                    gauge.add_metric([of], value)
                yield gauge
        except DatabaseError as error:
            log.error("figures_not_read", error=str(error))  # noqa: TRY400  no stack needed


def service_numbers() -> bytes:
    """Return what was counted, and what the probes say of the whole service."""
    return text(ProbeCollector())


def metrics(request: HttpRequest) -> HttpResponse:
    """Answer with the numbers to whoever has their token; to others this address is not there.

    Who reads them from a network of theirs asks at the address of SHUTLINE_METRICS_LISTEN.
    """
    if not bears_token(request.headers.get("Authorization", "")):
        return problem_response(NotFound("There is nothing at this address."))
    return _numbers(request)


@read_only
def _numbers(_request: HttpRequest) -> HttpResponse:
    return HttpResponse(service_numbers(), content_type=CONTENT_TYPE_LATEST)
