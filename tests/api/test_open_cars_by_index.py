"""What a workshop and a dealer look at all day is found by an index, however much is over."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from typing import Any

import pytest
from django.apps import apps
from django.db import connection

from accounts.caller import Caller, Side
from core.clock import now
from jobs.dashboard.selectors import shown_cars
from jobs.desk.selectors.cars import cars_here
from jobs.desk.selectors.curing import _running
from jobs.work.models import Job, Spell
from jobs.work.selectors.flow.times import cars_to_note
from jobs.work.selectors.jobs.jobs import jobs_of
from tests.scene import Scene

MANY = 3000
on_postgres = connection.vendor == "postgresql"


@contextmanager
def indexes_only() -> Iterator[None]:
    """Have PostgreSQL use an index wherever there is one: the tests' tables are too small."""
    if not on_postgres:
        yield
        return
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL enable_seqscan = off")
    yield


def plan(rows: Any) -> str:
    with indexes_only():
        return str(rows.explain())


def workshop(scene: Scene) -> Caller:
    return Caller(scene.workshop.pk, Side.WORKSHOP, frozenset(), "The desk")


def dealer(scene: Scene) -> Caller:
    return Caller(scene.dealer.pk, Side.DEALER, frozenset(), "The dealer")


def history(scene: Scene) -> None:
    """Store cars that were collected, so many that nobody would look through them."""
    at = now() - timedelta(days=100)
    Job.objects.bulk_create(
        Job(
            dealer=scene.dealer, workshop=scene.workshop, dealer_ref=f"GONE-{number}",
            registration=f"TU21 {number}", registration_key=f"TU21{number}", stage="ready",
            is_open=False, received_at=at, arrived_at=at, ready_at=at, collected_at=at,
            updated_at=at,
        )
        for number in range(MANY)
    )  # fmt: skip
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE jobs_job")


# "by_": with so few open either the dealer's or the workshop's does, and both have just those.
READS: dict[str, tuple[Callable[[Scene], Any], set[str]]] = {
    "the cars here": (
        lambda scene: cars_here(workshop(scene)).order_by(),
        {"job_open_by_", "job_left_by_"},
    ),
    "what runs on them": (lambda scene: _running(workshop(scene), now()), {"clock_by_job"}),
    "a dealer's board": (
        lambda scene: shown_cars(dealer(scene), now()).order_by(),
        {"job_open_by_", "job_left_by_", "job_changed_by_dealer"},
    ),
    "a dealer's open jobs": (
        lambda scene: jobs_of(dealer(scene)).filter(is_open=True).order_by(),
        {"job_open_by_"},
    ),
    "a reference": (
        lambda _scene: Job.objects.filter(dealer_ref="PX-1042").order_by(),
        {"job_by_dealer_ref"},
    ),
    "what changed lately": (
        lambda scene: jobs_of(workshop(scene)).filter(updated_at__gte=now()).order_by(),
        {"job_changed_by_workshop"},
    ),
    "spells of today": (
        lambda _scene: Spell.objects.filter(ended_at__gt=now() - timedelta(days=1)).order_by(),
        {"spell_by_end"},
    ),
    "cars whose time is to be kept": (
        lambda _scene: cars_to_note(since=now()).order_by(),
        {"job_ready_changed"},
    ),
}


@pytest.mark.servers
@pytest.mark.skipif(not on_postgres, reason="the plans are PostgreSQL's")
@pytest.mark.parametrize("read", READS)
def test_it_is_found_by_an_index_of_its_own(scene: Scene, read: str) -> None:
    history(scene)
    rows, wanted = READS[read]
    found = plan(rows(scene))
    assert {name for name in wanted if name in found} == wanted, found


# Columns of each plain or unique index, in order, by table; a partial index is another matter.
INDEXES = """
SELECT t.relname, i.relname, x.indisunique, x.indkey::int[], x.indclass::int[]
FROM pg_index x JOIN pg_class i ON i.oid = x.indexrelid JOIN pg_class t ON t.oid = x.indrelid
WHERE x.indpred IS NULL AND x.indexprs IS NULL AND t.relname = ANY(%s)
"""


@pytest.mark.servers
@pytest.mark.skipif(not on_postgres, reason="SQLite's are the same, and harder to read")
@pytest.mark.django_db
def test_no_index_begins_another() -> None:
    """One that another begins with finds nothing of its own, and each row written pays for it."""
    ours = [
        model._meta.db_table
        for app in ("core", "accounts", "jobs", "notifications")
        for model in apps.get_app_config(app).get_models()
    ]
    with connection.cursor() as cursor:
        cursor.execute(INDEXES, [ours])
        made = cursor.fetchall()
    twice = {
        (name, longer)
        for table, name, unique, columns, kinds in made
        for its_table, longer, _, others, other_kinds in made
        if table == its_table and name != longer and not unique
        if (others[: len(columns)], other_kinds[: len(kinds)]) == (columns, kinds)
    }
    assert len(made) > 50
    assert twice == set()
