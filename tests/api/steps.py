"""Steps that the tests of the API share: bring a job somewhere, and look at what was kept."""

import json
import threading
from collections.abc import Callable
from datetime import datetime
from typing import Any

from django.db import connection
from jsonschema import Draft202012Validator, FormatChecker

from notifications.catalogue import event_types
from notifications.models import Event
from tests.patience import PATIENCE_SECONDS
from tests.scene import Api, Scene, order

FORMATS = FormatChecker()
NOWHERE = "01951a2b-3c4d-7e5f-8a6b-7c8d9e0f1a2b"  # a well-formed id that nothing has


@FORMATS.checks("date-time")
def _is_zoned(text: object) -> bool:
    if not isinstance(text, str):
        return True
    try:
        return datetime.fromisoformat(text).tzinfo is not None
    except ValueError:
        return False


def posted(api: Api, **changes: Any) -> Any:
    """Post a work order and return the job."""
    answer = api.post("/work-orders", order(**changes))
    assert answer.status_code == 201, answer.content
    return answer.json()


def done(answer: Any) -> Any:
    """Return the body of an answer that must have gone well."""
    assert answer.status_code in {200, 201}, answer.content
    return answer.json()


def arrived(scene: Scene, **changes: Any) -> Any:
    """Post a work order, book the car in, and return the job."""
    job = posted(scene.dealer_api(), **changes)
    return done(scene.workshop_api().post(f"/jobs/{job['id']}/arrival"))


def moved(api: Api, job: Any, *stages: str) -> Any:
    """Move the job on, tasks open or not, and return it; going back gives a reason."""
    for stage in stages:
        body = {"to": stage, "version": job["version"], "reason": "So it is.", "confirm": True}
        job = done(api.post(f"/jobs/{job['id']}/moves", body))
    return job


def ready(scene: Scene, **changes: Any) -> Any:
    """Bring a new car to ready and return the job."""
    return moved(scene.workshop_api(), arrived(scene, **changes), "cleaning", "ready")


def detail(api: Api, job: Any) -> Any:
    """Return the job with its tasks, holds and clocks."""
    return done(api.get(f"/jobs/{job['id']}"))


def history(api: Api, job: Any) -> Any:
    """Return the job's history entries."""
    return done(api.get(f"/jobs/{job['id']}/history"))["entries"]


def told(job: Any) -> list[tuple[str, Any]]:
    """Return type and data of the job's events in order, each held against its schema."""
    events = Event.objects.filter(subject_id=job["id"]).order_by("number")
    return [told_once(event) for event in events]


def told_once(event: Event) -> tuple[str, Any]:
    """Return type and data of one event, held against its schema."""
    body = json.loads(event.body)
    schema = event_types()[event.type].schema
    Draft202012Validator(schema, format_checker=FORMATS).validate(body)
    assert body["type"] == event.type
    return event.type, body["data"]


def fields(answer: Any, status: int = 400) -> list[str]:
    """Return the names of the fields that a refused request got wrong."""
    problem = refused(answer, status)
    return [entry["field"] for entry in problem["errors"]]


def refused(answer: Any, status: int, kind: str = "") -> Any:
    """Return the problem document of a refused request."""
    assert answer.status_code == status, answer.content
    assert answer.headers["Content-Type"] == "application/problem+json"
    problem = answer.json()
    assert problem["status"] == status
    assert problem["type"].startswith("urn:shutline:problem:")
    assert problem["detail"]
    assert problem["next_step"]
    if kind:
        assert problem["type"] == f"urn:shutline:problem:{kind}"
    return problem


def at_once(*actions: Callable[[], Any]) -> list[Any]:
    """Run each action in a thread of its own, all starting together; return what they return."""
    gate = threading.Barrier(len(actions))
    results: list[Any] = [None] * len(actions)

    def run(index: int, action: Callable[[], Any]) -> None:
        try:
            gate.wait(timeout=PATIENCE_SECONDS)
            results[index] = action()
        finally:
            connection.close()

    threads = [
        threading.Thread(target=run, args=(index, action)) for index, action in enumerate(actions)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=PATIENCE_SECONDS)
        assert not thread.is_alive()
    return results
