"""The database lets nobody change what happened to a job, and only retention delete it."""

import sqlite3
from collections.abc import Callable

import pytest
from django.db import IntegrityError, connection, transaction

from jobs.work.models import HistoryEntry
from jobs.work.services.jobs.forgetting import history_may_go
from tests.api.steps import posted
from tests.scene import Scene


@pytest.fixture
def entries(scene: Scene) -> int:
    posted(scene.dealer_api())
    return HistoryEntry.objects.count()


def change() -> None:
    HistoryEntry.objects.update(reason="Never said.")


def delete() -> None:
    HistoryEntry.objects.all().delete()


def delete_raw() -> None:
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM jobs_historyentry")


@pytest.mark.parametrize("attempt", [change, delete, delete_raw])
def test_the_database_refuses(entries: int, attempt: Callable[[], None]) -> None:
    with pytest.raises(IntegrityError, match="never changed"), transaction.atomic():
        attempt()
    assert HistoryEntry.objects.count() == entries > 0


def test_retention_is_let_through_and_only_as_long_as_it_is_open(entries: int) -> None:
    assert entries
    oldest = HistoryEntry.objects.earliest("pk")
    with history_may_go():
        oldest.delete()
    assert HistoryEntry.objects.count() == entries - 1
    with pytest.raises(IntegrityError), transaction.atomic():
        delete()


def test_retention_may_delete_but_not_change(entries: int) -> None:
    with pytest.raises(IntegrityError, match="never changed"), history_may_go():
        change()
    assert HistoryEntry.objects.exclude(reason="Never said.").count() == entries


def test_after_a_retention_that_failed_nothing_is_open(entries: int) -> None:
    with pytest.raises(ZeroDivisionError), history_may_go():
        raise ZeroDivisionError
    with pytest.raises(IntegrityError), transaction.atomic():
        delete()
    assert HistoryEntry.objects.count() == entries


@pytest.mark.django_db(transaction=True)
def test_somebody_elses_connection_deletes_nothing_either(scene: Scene) -> None:
    posted(scene.dealer_api())
    if connection.vendor != "sqlite":
        pytest.skip("PostgreSQL's trigger asks nothing of a connection")
    foreign_connection = sqlite3.connect(str(connection.settings_dict["NAME"]), uri=True)
    with pytest.raises(sqlite3.OperationalError, match="no such function"):
        foreign_connection.execute("DELETE FROM jobs_historyentry")
    foreign_connection.close()
    assert HistoryEntry.objects.exists()
