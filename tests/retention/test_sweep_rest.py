"""What has a term beside cars: readings, lists of orders, sign-ins, e-mails in files, the rest."""

import io
import json
import os
from datetime import timedelta
from pathlib import Path
from typing import Any, cast

import pytest
from axes.models import AccessAttempt
from django.contrib.admin.models import LogEntry
from django.core.checks import Error
from django.core.management import CommandError, call_command
from django.utils import timezone
from pytest_django import Settings

from accounts.models import Person
from core.clock import now
from core.models import Sweep
from jobs.retention.apps import check_terms
from jobs.retention.models import Removal, Term
from jobs.retention.services import sweep as service
from jobs.retention.services.steps import STEPS
from jobs.retention.services.sweep import is_time, sweep
from jobs.retention.tasks import StepsFailed, sweep_retention
from jobs.work.models import ClimateReading, Job, OrderImport
from tests.api.steps import ready
from tests.retention.marked import closed_days_ago
from tests.scene import Scene


def reading(scene: Scene, days: float, workshop: Any = None) -> None:
    at = now() - timedelta(days=days)
    ClimateReading.objects.create(
        workshop=workshop or scene.workshop, place="workshop", at=at, celsius=12.5,
        recorded_at=at, actor="Tam Brackley",
    )  # fmt: skip


def swept() -> dict[str, Removal]:
    return {each.step: each for each in sweep(at=now(), may_go_on=lambda: True).removals}


def test_readings_go_by_the_workshops_term(scene: Scene) -> None:
    Term.objects.create(workshop=scene.workshop, kind="readings", days=200)
    for days in (199, 201, 731):
        reading(scene, days)
        reading(scene, days, scene.stranger_workshop)
    assert swept()["readings"].rows == 3
    kept = ClimateReading.objects.filter(workshop=scene.workshop)
    assert kept.count() == 1
    assert ClimateReading.objects.count() == 3


def test_lists_of_orders_go_when_they_were_taken_in(scene: Scene) -> None:
    for days in (29, 31, None):
        OrderImport.objects.create(
            dealer=scene.dealer, person=scene.staff, file_name="cars.csv", started_at=now(),
            finished_at=None if days is None else now() - timedelta(days=days),
        )  # fmt: skip
    assert swept()["imports"].rows == 1
    assert OrderImport.objects.count() == 2


@pytest.mark.django_db
def test_failed_sign_ins_and_the_operators_acts_go() -> None:
    for days in (89, 91):
        AccessAttempt.objects.create(
            username="odile@owner.example", failures_since_start=1, ip_address=f"192.0.2.{days}"
        )
        AccessAttempt.objects.filter(ip_address=f"192.0.2.{days}").update(
            attempt_time=now() - timedelta(days=days)
        )
    operator = Person.objects.create_superuser("op@desk.example", name="Operator")
    for days in (729, 731):
        entry = LogEntry.objects.create(user=operator, object_repr="A car", action_flag=2)
        LogEntry.objects.filter(pk=entry.pk).update(action_time=now() - timedelta(days=days))
    records = swept()
    assert (records["sign_ins"].rows, records["operator"].rows) == (1, 1)
    assert AccessAttempt.objects.get().ip_address == "192.0.2.89"
    assert LogEntry.objects.count() == 1


@pytest.mark.django_db
def test_emails_in_files_go(stores: Path) -> None:
    for days in (29, 31):
        path = stores / "mail" / f"{days}.log"
        path.write_text("To: Ines")
        when = (now() - timedelta(days=days)).timestamp()
        os.utime(path, (when, when))
    assert swept()["mail"].files == 1
    assert [path.name for path in (stores / "mail").iterdir()] == ["29.log"]


def test_a_dry_run_says_what_would_go_and_changes_nothing(scene: Scene) -> None:
    car, kept = ready(scene), ready(scene, dealer_ref="PX-2", registration="TU21 ABD")
    for job in (car, kept):
        Job.objects.filter(pk=job["id"]).update(is_open=False)
        closed_days_ago(job, 400)
    call_command("keep_car", kept["id"], "--reason", "A claim.", stdout=io.StringIO())
    reading(scene, 800)
    out = io.StringIO()
    call_command("sweep_data", "--dry-run", "--files", "--json", stdout=out)
    going = {item["kind"]: item for item in json.loads(out.getvalue())["would_go"]}
    assert (going["personal"]["count"], going["personal"]["kept"]) == (1, 1)
    assert going["personal"]["workshop"] == "Fernhollow Valeting"
    assert going["readings"]["count"] == 1
    assert "history" not in going
    assert ClimateReading.objects.count() == 1
    assert not Removal.objects.exists()
    plain = io.StringIO()
    call_command("sweep_data", "--dry-run", stdout=plain)
    assert "personal at Fernhollow Valeting: 1, the oldest from" in plain.getvalue()
    call_command("sweep_data", stdout=plain)
    assert "personal: 1 cars" in plain.getvalue()
    assert not ClimateReading.objects.exists()


def test_terms_are_shown_and_set(scene: Scene) -> None:
    out = io.StringIO()
    chosen = ["--workshop", "Fernhollow Valeting", "--kind"]
    call_command("keep_terms", *chosen, "pictures", "--days", "1000", stdout=out)
    assert "pictures: 730 days from the collection" in out.getvalue()
    assert f"at {scene.workshop.pk}: 1000 days" in out.getvalue()
    call_command("keep_terms", *chosen, "pictures", "--days", "as-for-all", stdout=out)
    assert not Term.objects.exists()


@pytest.mark.parametrize(
    ("kind", "days", "says"),
    [
        ("pictures", "29", "give 30 or more"),
        ("personal", "179", "Give 180 or more"),
        ("notices", "200", "one term for notices"),
        ("pictures", "many", "whole number"),
        ("pictures", None, "together"),
    ],
)
def test_a_term_that_cannot_be_is_refused(
    scene: Scene, kind: str, days: str | None, says: str
) -> None:
    given = ["--workshop", str(scene.workshop.pk), "--kind", kind]
    with pytest.raises(CommandError, match=says):
        call_command("keep_terms", *given, *(["--days", days] if days else []))
    assert not Term.objects.exists()


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({}, None),
        ({"pictures": 29}, "retention.E001"),
        ({"attempts": 200}, "retention.E002"),
        ({"personal": 170}, "retention.E003"),
    ],
)
def test_the_settings_are_checked(
    settings: Settings, changes: dict[str, int], code: str | None
) -> None:
    settings.KEEP_DAYS = {**settings.KEEP_DAYS, **changes}
    found = [message.id for message in check_terms(None) if isinstance(message, Error)]
    assert found == ([code] if code else [])


@pytest.mark.django_db
def test_it_is_done_once_a_night_and_by_day_where_nights_are_missed() -> None:
    night = timezone.localtime(now()).replace(hour=3, minute=0)
    assert is_time(night)  # it never was
    Sweep.objects.create(name=service.WHOLE, last_run_at=night - timedelta(days=1))
    day = night.replace(hour=12)
    assert (is_time(night), is_time(day)) == (True, False)
    assert is_time(day + timedelta(days=2))
    Sweep.objects.filter(name=service.WHOLE).update(last_run_at=night)
    assert not is_time(night + timedelta(minutes=10))
    Removal.objects.create(step="notices", started_at=night)
    assert is_time(night + timedelta(minutes=10))
    assert not is_time(day)


def test_a_step_that_fails_is_not_noted_as_done(
    scene: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: Any) -> Any:
        raise OSError("no store")

    reading(scene, 800)
    monkeypatch.setitem(cast("dict[Any, Any]", STEPS), Removal.Step.FILES, broken)
    with pytest.raises(StepsFailed, match="files failed"):
        sweep_retention()
    with pytest.raises(CommandError, match="files failed"):
        call_command("sweep_data")
    assert not Sweep.objects.exists()
    assert not ClimateReading.objects.exists()


def test_a_night_goes_on_behind_the_steps_that_it_has_done(scene: Scene) -> None:
    batches = iter([True] * 3)
    first = sweep(at=now(), may_go_on=lambda: next(batches, False))
    assert [removal.step for removal in first.removals if removal.finished_at] == [
        "personal", "pictures", "history",
    ]  # fmt: skip
    reading(scene, 800)
    second = sweep(at=now(), may_go_on=lambda: True)
    assert second.whole
    assert [removal.step for removal in second.removals][:2] == ["readings", "attempts"]
    assert Removal.objects.count() == len(STEPS)
    assert not ClimateReading.objects.exists()
    again = sweep(at=now(), may_go_on=lambda: True)
    assert len(again.removals) == len(STEPS)


def test_the_task_sweeps_and_is_noted(scene: Scene) -> None:
    reading(scene, 800)
    sweep_retention()
    assert not ClimateReading.objects.exists()
    names = set(Sweep.objects.values_list("name", flat=True))
    assert {"sweep_retention", service.WHOLE} <= names
