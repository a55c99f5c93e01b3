"""Migrating beside the work: it gives way, and what broke off is done again."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager

import psycopg
import pytest
from django.core.management import call_command
from django.db import connection, models
from django.db.migrations.loader import MigrationLoader

from core.gentle import AddFieldBeside
from core.indexes import AddIndexBeside
from core.schema import giving_way
from tests.patience import PATIENCE_SECONDS
from tests.reliability.service import wait_until

pytestmark = [pytest.mark.servers, pytest.mark.django_db(transaction=True)]
READ = "SELECT 1 FROM jobs_waitclock"
WAITING = """
SELECT count(*) FROM pg_locks WHERE NOT granted AND mode = 'AccessExclusiveLock'
   AND relation = 'jobs_waitclock'::regclass
"""


@contextmanager
def other() -> Iterator[psycopg.Connection]:
    """Connect to the tests' database once more."""
    settings = connection.settings_dict
    with psycopg.connect(
        host=settings["HOST"], port=settings["PORT"] or None, dbname=settings["NAME"],
        user=settings["USER"] or None, password=settings["PASSWORD"] or None,
        autocommit=True,
    ) as opened:  # fmt: skip
        yield opened


def test_who_waits_for_a_table_gives_way_to_others_and_gets_it_in_the_end() -> None:
    changed = threading.Event()

    def change() -> None:
        with giving_way(connection), connection.cursor() as cursor:
            cursor.execute("ALTER TABLE jobs_waitclock ADD COLUMN of_a_test text")
            cursor.execute("ALTER TABLE jobs_waitclock DROP COLUMN of_a_test")
        connection.close()
        changed.set()

    with other() as holder, other() as reader:
        holder.execute(f"BEGIN; {READ}")
        thread = threading.Thread(target=change)
        thread.start()
        for _ in range(2):  # and again: it has not given up
            wait_until(lambda: reader.execute(WAITING).fetchone() == (1,), "a wait for the table")
            reader.execute(READ)  # behind it, and let through
            assert not changed.is_set()
        holder.execute("ROLLBACK")
        thread.join(PATIENCE_SECONDS)
    assert changed.is_set()


def test_a_migration_waits_as_ever_once_it_is_over() -> None:
    with connection.cursor() as cursor:
        cursor.execute("SET lock_timeout = '7s'")
        call_command("migrate", interactive=False, verbosity=0)
        cursor.execute("SHOW lock_timeout")
        assert cursor.fetchone() == ("7s",)
        cursor.execute("RESET lock_timeout")


def test_an_index_that_broke_off_is_made_again_and_one_that_is_whole_is_left() -> None:
    state = MigrationLoader(connection).project_state(("jobs", "0018_no_index_twice"))
    index = models.Index(fields=["ended_at"], name="spell_by_end")
    step = AddIndexBeside("spell", index)

    def found() -> tuple[int, bool]:
        with connection.cursor() as cursor:
            cursor.execute(
                "SELECT indexrelid, indisvalid FROM pg_index"
                " WHERE indexrelid = 'spell_by_end'::regclass"
            )
            ((number, valid),) = cursor.fetchall()
        return number, valid

    def run() -> None:
        with connection.schema_editor(atomic=False) as editor:
            step.database_forwards("jobs", editor, state, state)

    whole = found()
    run()
    assert found() == whole
    with connection.cursor() as cursor:
        cursor.execute(
            "UPDATE pg_index SET indisvalid = false WHERE indexrelid = 'spell_by_end'::regclass"
        )
    run()
    number, valid = found()
    assert valid
    assert number != whole[0]


def test_a_column_that_is_there_is_not_added_again() -> None:
    loader = MigrationLoader(connection)
    before = loader.project_state(("jobs", "0013_clock_halted_has_no_end"))
    after = before.clone()
    field = models.PositiveIntegerField(null=True)
    step = AddFieldBeside("waitclock", "summed_width", field)
    step.state_forwards("jobs", after)
    with connection.cursor() as cursor:
        described = connection.introspection.get_table_description
        columns = [column.name for column in described(cursor, "jobs_waitclock")]
        with connection.schema_editor(atomic=False) as editor:
            step.database_forwards("jobs", editor, before, after)
        assert [column.name for column in described(cursor, "jobs_waitclock")] == columns
    assert columns.count("summed_width") == 1
