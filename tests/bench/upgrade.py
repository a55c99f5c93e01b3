"""How long an upgrade keeps anybody waiting: the release before at work while its tables change.

`python -m tests.bench.upgrade [JOBS]` fills a database of the release before (`tests/rolling.py`)
with so many cars and as many events, starts all of its programs, sends cars through it without a
pause, and runs `manage.py migrate` of this release beside that. It prints the longest that a
statement waited for a lock, the longest that a table was closed to readers, and what was answered;
it exits non-zero where a wait is a second or longer, or an answer is an error.
"""

import os
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

import psycopg
from cryptography.fernet import Fernet

from tests.bench.database import make_fresh
from tests.bench.rolling import ROOT, Call, Load, Release, Watch, unpack
from tests.reliability.service import Service, clean_environment
from tests.servers import postgres_url, redis_url, release_before_problem

JOBS = 200_000
# Of a hundred cars so many were not to be driven, and so many clocks stand still.
STOPPED_PERCENT = 5
LONGEST_WAIT_SECONDS = 1.0
SECONDS_BESIDE = 10  # of load before, and after
DATABASE = "shutline_bench_upgrade"
# Of the release before: copy a car of each kind. Arguments: this folder, cars, and the cars' ids.
CLONE = """
import django
django.setup()
import sys
sys.path.append(sys.argv[1])
from cloning import clone
from django.apps import apps
first = 0
for job_id, count in zip(sys.argv[2::2], map(int, sys.argv[3::2])):
    job = apps.get_model("jobs", "Job").objects.get(pk=job_id)
    clone(job, range(first + 1, first + count + 1), minutes_apart=1,
          pairs=[(job.workshop_id, job.dealer_id)])
    first += count
"""
# What the two cars are when they are copied: collected, and one of them never stopped.
COLLECT = (
    "DELETE FROM jobs_finding WHERE job_id = %(plain)s",
    """UPDATE jobs_job SET is_open = false, stage = 'ready', collected_at = now()
         WHERE id IN (%(plain)s, %(stopped)s)""",
    """UPDATE jobs_waitclock SET closed_at = ends_at, settled_at = ends_at
         WHERE job_id IN (%(plain)s, %(stopped)s)""",
)
# Clocks that stand still, as the release before writes them; events long placed; and figures for
# the planner.
SETTLE = (
    f"""UPDATE jobs_waitclock SET halted = 'too_cold', earliest_at = ends_at
         WHERE ('x' || substr(md5(id::text), 1, 4))::bit(16)::int % 100 < {STOPPED_PERCENT}""",  # noqa: S608
    """INSERT INTO notifications_event (id, type, subject_id, occurred_at, recorded_at, body,
            position, dealer_id, workshop_id, also_to, letter, urgent)
       SELECT gen_random_uuid(), 'job.collected', id, now(), now(), '{}',
            1000 + row_number() OVER (), dealer_id, workshop_id, '', '', false FROM jobs_job""",
    "VACUUM ANALYZE",
)


def main(jobs: int) -> int:
    """Measure one upgrade, print it, and return 1 where somebody waited too long."""
    postgres, redis = postgres_url(), redis_url()
    if postgres is None or redis is None or release_before_problem():
        sys.stderr.write("It needs PostgreSQL, Redis and a clone with the release before.\n")
        return 2
    with tempfile.TemporaryDirectory(prefix="shutline-upgrade-") as name:
        folder = Path(name)
        database = make_fresh(postgres, DATABASE)
        settings = {
            "DATABASE_URL": database,
            "CELERY_BROKER_URL": redis.rsplit("/", 1)[0] + "/8",
            "SHUTLINE_SECRET_KEY": Fernet.generate_key().decode(),
            "SHUTLINE_FIELD_KEYS": Fernet.generate_key().decode(),
            "SHUTLINE_REQUESTS_PER_MINUTE": "1000000",
            "SHUTLINE_LOG_LEVEL": "ERROR",
        }
        mine = {**clean_environment(), **settings, "SHUTLINE_DATA_DIR": str(folder / "commands")}
        before = Release(unpack(folder / "before"), mine)
        after = Release(ROOT, {**mine, "PGAPPNAME": "migrate"})
        before.run("manage.py", "migrate", "--verbosity", "0")
        keys = before.found()
        with Service(
            folder / "service", "--port", "0", environment=settings, root=before.folder
        ) as service:
            service.wait_until_ready()
            fill(before, service.url, keys, jobs)
            return upgrade(after, service.url, keys, database)


def fill(before: Release, url: str, keys: tuple[str, str], jobs: int) -> None:
    """Send a car of each kind through, and copy them."""
    say(f"Filling a database of the release before with {jobs:,} cars.")
    with Load(url, keys) as load:
        while len(load.cars) < 2 and not load.failed:
            time.sleep(0.1)
    if load.failed:
        raise SystemExit(f"The release before answers {load.failed[0]}.")
    plain, stopped = load.cars[:2]
    few = jobs * STOPPED_PERCENT // 100
    with psycopg.connect(before.environment["DATABASE_URL"], autocommit=True) as connection:
        for statement in COLLECT:
            connection.execute(statement, {"plain": plain, "stopped": stopped})
        here = str(Path(__file__).parent)
        before.run("-c", CLONE, here, plain, str(jobs - few), stopped, str(few))
        for statement in SETTLE:
            connection.execute(statement)


def upgrade(after: Release, url: str, keys: tuple[str, str], database: str) -> int:
    """Migrate under load; return 1 where somebody waited too long or was answered an error."""
    watch = Watch(database)
    with watch.watching(), Load(url, keys, first=500) as load:
        time.sleep(SECONDS_BESIDE)
        began = time.monotonic()
        migrating = after.start("manage.py", "migrate")
        output, _ = migrating.communicate()
        ended = time.monotonic()
        time.sleep(SECONDS_BESIDE)
    say(output)
    say(f"Migrated in {ended - began:.0f} s, looked at the locks {watch.samples:,} times.")
    say(f"Longest wait of a statement for a lock: {1000 * watch.longest_wait:.0f} ms.")
    for (_, _, query), seconds in sorted(watch.waited.items(), key=lambda pair: -pair[1])[:5]:
        say(f"  {1000 * seconds:.0f} ms: {query[:100]}")
    held = sorted(watch.held.items(), key=lambda pair: -pair[1])[:5]
    say("Longest closed to readers: " + ", ".join(f"{t} {1000 * s:.0f} ms" for t, s in held) + ".")
    say("\n".join(table(load.calls, began, ended)))
    failed = bool(load.failed or migrating.returncode)
    return int(failed or watch.longest_wait >= LONGEST_WAIT_SECONDS)


def table(calls: Sequence[Call], began: float, ended: float) -> Iterator[str]:
    """Yield the calls before, while and after, with the slowest answer of each in ms."""
    yield "| when | calls | errors | median ms | slowest ms | of |"
    yield "| --- | --: | --: | --: | --: | --- |"
    parts = {
        "before": [call for call in calls if call.began < began],
        "while": [call for call in calls if began <= call.began < ended],
        "after": [call for call in calls if call.began >= ended],
    }
    for when, some in parts.items():
        ordered = sorted(some, key=lambda call: call.seconds)
        errors = sum(not 200 <= call.status < 300 for call in some)
        middle, worst = ordered[len(ordered) // 2], ordered[-1]
        yield (
            f"| {when} | {len(some)} | {errors} | {1000 * middle.seconds:.0f}"
            f" | {1000 * worst.seconds:.0f} | {worst.name} |"
        )
    for call in calls:
        if not 200 <= call.status < 300:
            yield f"{call.name} at {call.began - began:+.1f} s: {call.status} {call.body[:300]!r}"


def say(text: str) -> None:
    """Print a line at once."""
    sys.stdout.write(f"{text}\n")
    sys.stdout.flush()


if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "core.settings")
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else JOBS))
