"""Notices do not wait for long work, on real workers of both queues."""

from pathlib import Path

import pytest
from celery import current_app
from django.conf import settings

from core.queues import NOTICES, WORK, register_queue
from tests.notifications.receiver import Receiver
from tests.reliability.long_work.tasks import FOLDER
from tests.reliability.service import wait_until
from tests.reliability.world import FORMS, founded, post_batch

SEND = """
import django
django.setup()
from tests.reliability.long_work.tasks import last
for _ in range(10):
    last.delay()
"""
PATH = "/notices"
WORK_PROCESSES = settings.WORKER_PROCESSES["work"]


@pytest.mark.parametrize("form", FORMS)
def test_a_notice_arrives_while_ten_long_tasks_keep_every_process_of_work(
    form: str, tmp_path: Path
) -> None:
    long_work = tmp_path / "long_work"
    long_work.mkdir()
    tasks = "tests.reliability.long_work.settings"
    changes = {"DJANGO_SETTINGS_MODULE": tasks, FOLDER: str(long_work)}

    def begun() -> int:
        return len(list(long_work.glob("*.begun")))

    with founded(form, tmp_path, **changes) as world, Receiver() as receiver:
        world.start()
        dealer = world.dealer()
        dealer.post("/webhook-endpoints", {"url": receiver.url(PATH)}, status=201)
        world.python("-c", SEND)
        wait_until(lambda: begun() == WORK_PROCESSES, "the first of the long work")
        noticed = post_batch(dealer, 1, 5)
        receiver.wait_for(len(noticed), PATH)
        assert begun() == WORK_PROCESSES, "the rest waits still"
        (long_work / "end").touch()
        wait_until(lambda: begun() == 10, "all of the long work")


def test_every_task_of_notices_waits_in_their_queue_and_no_other_does() -> None:
    current_app.loader.import_default_modules()
    ours = [
        name
        for name in current_app.tasks
        if name.startswith(("core.", "accounts.", "notifications.", "jobs."))
    ]
    assert len(ours) > 8
    for name in ours:
        queue = current_app.amqp.router.route({}, name)["queue"].name
        assert queue == (NOTICES if name.startswith("notifications.") else WORK), name


def test_a_queue_that_no_worker_takes_from_is_refused() -> None:
    with pytest.raises(ValueError, match="no queue express"):
        register_queue("core.tasks.*", "express")
