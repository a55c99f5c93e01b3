"""What apps hand to core as they load: a name stands for one thing."""

import pytest
from celery import current_app

from core import periodic
from core.api.enum_names import register_enum_names
from core.periodic import SCHEDULE, register_periodic


def test_every_periodic_task_is_one_that_workers_know() -> None:
    current_app.loader.import_default_modules()
    assert len(SCHEDULE) >= 8
    assert [e["task"] for e in SCHEDULE.values() if e["task"] not in current_app.tasks] == []


def test_celery_sees_what_apps_added() -> None:
    assert current_app.conf.beat_schedule.keys() == SCHEDULE.keys()


def test_a_name_is_taken_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(periodic, "SCHEDULE", {})
    register_periodic("wash", "core.tasks.wash", seconds=5.0)
    register_periodic("wash", "core.tasks.wash", seconds=5.0)
    with pytest.raises(ValueError, match="wash"):
        register_periodic("wash", "core.tasks.wash", seconds=6.0)
    with pytest.raises(ValueError, match="KeyStateEnum"):
        register_enum_names({"KeyStateEnum": ["usable"]})
