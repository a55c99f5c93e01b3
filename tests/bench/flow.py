"""Where 100,000 cars waited: `GET /flow` against one bare SQL statement over the same rows."""

import random
import time
import urllib.request
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import psycopg
from django.conf import settings
from django.db import connection
from psycopg import sql

from accounts.caller import Scope
from accounts.models import Organisation
from accounts.services import dealer_add, key_add
from core.clock import now
from jobs.work.calc.flow.course import CAUSES, STAGES
from jobs.work.models import FlowCar, Job
from tests.bench.report import Ratio, Wait
from tests.bench.scene import BenchScene
from tests.bench.web import web_server

JOBS = 100_000
IN_WORK = 60
DEALERS = 20
DAYS = 89
AT_ONCE = 5000
ROUNDS = 15
WANTED_MILLISECONDS = 1000
PARTS = [f"{stage}_{cause}" for stage in STAGES for cause in CAUSES]


def measure(bench: BenchScene) -> tuple[list[Ratio], Wait]:
    """Return our rate against the bare statement's, and how long a call takes, one at a time."""
    workshop = bench.scene.stranger_workshop  # the other measurements have their own rows
    dealers = [dealer_add(name=f"Dealer {n}", workshop=workshop).dealer for n in range(DEALERS)]
    fill(workshop, dealers, random.Random(11))
    fresh = key_add(organisation=workshop, name="bench flow", scopes=[Scope.FLOW])
    statement, values = bare(workshop)
    pairs, waits = [], []
    with web_server() as url, psycopg.connect(database_url()) as server:
        request = urllib.request.Request(  # noqa: S310  our own server
            f"{url}/api/v1/flow", headers={"Authorization": f"Bearer {fresh.secret}"}
        )
        for _ in range(ROUNDS):
            base = seconds(lambda: server.execute(statement, values).fetchall())
            ours = seconds(lambda: asked(request))
            pairs.append((1 / ours, 1 / base))
            waits.append(ours * 1000)
    return (
        [Ratio(f"GET /flow, {JOBS:,} jobs", "one SQL statement, the same sums", pairs, 0.4)],
        Wait(f"GET /flow, {JOBS:,} jobs in the period", waits, WANTED_MILLISECONDS),
    )


def asked(request: urllib.request.Request) -> bytes:
    """Return the answer."""
    with urllib.request.urlopen(request) as answer:  # noqa: S310  our own server
        return bytes(answer.read())


def seconds(work: Callable[[], Any]) -> float:
    """Return how long something takes."""
    began = time.perf_counter()
    work()
    return time.perf_counter() - began


def database_url() -> str:
    """Return where the bench's own database is."""
    about = settings.DATABASES["default"]
    return psycopg.conninfo.make_conninfo(
        host=about["HOST"], port=about["PORT"], user=about["USER"],
        password=about["PASSWORD"], dbname=about["NAME"],
    )  # fmt: skip


def bare(workshop: Organisation) -> tuple[sql.Composed, list[Any]]:
    """Return the statement: every sum and both percentiles, by dealer and purpose."""
    sums = sql.SQL(", ").join(sql.SQL("sum({})").format(sql.Identifier(name)) for name in PARTS)
    statement = sql.SQL(
        "SELECT dealer_id, purpose, count(*), sum(lead_seconds), {}, "
        "percentile_disc(ARRAY[0.5, 0.8]) WITHIN GROUP (ORDER BY lead_seconds) "
        "FROM jobs_flowcar WHERE workshop_id = %s AND ready_at >= %s AND ready_at < %s "
        "GROUP BY dealer_id, purpose"
    ).format(sums)
    return statement, [workshop.pk, now() - timedelta(days=DAYS + 1), now()]


def fill(workshop: Organisation, dealers: list[Organisation], draw: random.Random) -> None:
    """Make the cars that became ready within the usual period, and some in work."""
    for begins in range(0, JOBS, AT_ONCE):
        cars = [car(workshop, dealers, draw, number) for number in range(begins, begins + AT_ONCE)]
        Job.objects.bulk_create(flow_car.job for flow_car in cars)
        FlowCar.objects.bulk_create(cars)
    in_work = [car(workshop, dealers, draw, JOBS + number).job for number in range(IN_WORK)]
    for job in in_work:
        job.stage, job.is_open, job.ready_at, job.collected_at = "cleaning", True, None, None
    Job.objects.bulk_create(in_work)
    with connection.cursor() as cursor:
        cursor.execute("VACUUM ANALYZE")


def car(
    workshop: Organisation, dealers: list[Organisation], draw: random.Random, number: int
) -> FlowCar:
    """Return a car that was ready and collected, with its job, neither of them saved."""
    ready_at = now() - timedelta(seconds=draw.random() * DAYS * 86_400)
    parts = {name: draw.randint(60, 9000) for name in draw.sample(PARTS, 7)}
    lead = sum(parts.values())
    job = Job(
        dealer=draw.choice(dealers),
        workshop=workshop,
        registration=f"TU21 {number}",
        registration_key=f"TU21{number}",
        purpose=draw.choice(Job.Purpose.values),
        stage="ready",
        decision="accepted",
        is_open=False,
        arrived_at=ready_at - timedelta(seconds=lead),
        ready_at=ready_at,
        collected_at=ready_at,
        received_at=ready_at,
        updated_at=ready_at,
    )
    return FlowCar(
        job=job,
        workshop=workshop,
        dealer=job.dealer,
        purpose=job.purpose,
        arrived_at=job.arrived_at or ready_at,
        ready_at=ready_at,
        on_time=draw.choice([None, True, True, False]),
        lead_seconds=lead,
        person_seconds=lead // 3,
        **parts,
    )
