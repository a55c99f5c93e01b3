"""What stood as the end of a halted clock, and was only how far the sum had looked, is gone."""

from collections.abc import Iterator
from datetime import timedelta
from importlib import import_module

import pytest
import time_machine
from django.apps import apps
from django.db import connection

from jobs.work.models import ClimateSetup, Job, WaitClock
from jobs.work.tasks import settle_clocks, work_out_clocks
from tests.api.clock_steps import EIGHT, after, in_curing, measured, move
from tests.api.steps import refused
from tests.scene import make_scene

MIGRATION = import_module("jobs.work.migrations.0012_halted_clocks")


@pytest.fixture
def unbound(db: None) -> Iterator[None]:  # noqa: ARG001  what it runs in
    """Allow clocks as they were before; on PostgreSQL the test's end binds them again."""
    on_sqlite = connection.vendor == "sqlite"
    with connection.cursor() as cursor:
        if on_sqlite:
            cursor.execute("PRAGMA ignore_check_constraints = ON")
        else:
            cursor.execute("ALTER TABLE jobs_waitclock DISABLE TRIGGER jobs_waitclock_empty_end")
            cursor.execute("ALTER TABLE jobs_waitclock DROP CONSTRAINT clock_halted_has_no_end")
    yield
    if on_sqlite:
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA ignore_check_constraints = OFF")


@pytest.mark.usefixtures("unbound")
def test_a_clock_that_was_done_by_the_horizon_runs_again_and_is_worked_out_anew() -> None:
    scene = make_scene()
    with time_machine.travel(EIGHT, tick=False) as clock:
        job = in_curing(scene, "trim_dressing")
        measured(scene, (EIGHT, 2.0))
        horizon = after(days=14)
        WaitClock.objects.update(
            halted="too_cold", earliest_at=horizon, ends_at=horizon, settled_at=horizon
        )
        Job.objects.update(waits_told=horizon)
        ClimateSetup.objects.update(clocks_due=False)
        clock.move_to(after(days=15))
        MIGRATION.take_horizons_back(apps, None)
        found = WaitClock.objects.get()
        assert (found.ends_at, found.earliest_at, found.settled_at) == (None, None, None)
        assert Job.objects.get().waits_told is None
        assert ClimateSetup.objects.get().clocks_due is True
        work_out_clocks()
        settle_clocks()
        assert refused(move(scene.workshop_api(), job, "ready"), 409)["until"] is None
        measured(scene, *[(after(days=15) - timedelta(minutes=5 * step), 18.0)
                          for step in range(60)])  # fmt: skip
        work_out_clocks()
        settle_clocks()
        found.refresh_from_db()
    assert found.halted == ""
    assert found.settled_at is not None


@pytest.mark.usefixtures("unbound")
def test_a_clock_that_was_felt_or_whose_car_is_gone_stays_over() -> None:
    scene = make_scene()
    with time_machine.travel(EIGHT, tick=False):
        in_curing(scene, "trim_dressing")
        WaitClock.objects.update(
            halted="too_damp", ends_at=after(days=14), closed_at=after(hours=1),
            settled_at=after(hours=1),
        )  # fmt: skip
        MIGRATION.take_horizons_back(apps, None)
        found = WaitClock.objects.get()
        assert (found.ends_at, found.settled_at) == (None, after(hours=1))
        WaitClock.objects.update(closed_at=None, ends_at=after(days=14))
        Job.objects.update(is_open=False)
        MIGRATION.take_horizons_back(apps, None)
        found.refresh_from_db()
    assert (found.ends_at, found.settled_at) == (None, after(hours=1))


@pytest.mark.servers
@pytest.mark.django_db
def test_a_halted_clock_that_the_release_before_writes_has_no_end() -> None:
    scene = make_scene()
    with time_machine.travel(EIGHT, tick=False):
        in_curing(scene, "trim_dressing")
    horizon = after(days=14)
    WaitClock.objects.update(halted="too_cold", earliest_at=horizon, ends_at=horizon)
    found = WaitClock.objects.get()
    assert (found.halted, found.earliest_at, found.ends_at) == ("too_cold", None, None)
    WaitClock.objects.update(halted="", earliest_at=horizon, ends_at=horizon)
    assert WaitClock.objects.get().ends_at == horizon
