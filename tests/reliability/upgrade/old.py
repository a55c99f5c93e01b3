"""Make the old database, bring it up to date, and print what differs from what it said before.

Run in an environment of its own, on an empty database: it writes into the one that is set.
"""

import base64
import gzip
import json
import re
from collections.abc import Iterator, Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

import time_machine
from django.apps import apps
from django.core.management import call_command
from django.core.management.color import no_style
from django.db import connection, transaction
from django.test import Client

from accounts.models import ApiKey, Organisation
from accounts.services import key_add
from jobs.work.calc.stages.machine import Step, replay
from jobs.work.models import Job

HERE = Path(__file__).parent
OLD = {"core": "0001", "accounts": "0003", "jobs": "0006", "notifications": "0002"}
LINK = re.compile(r"https?://[^/]+(?P<path>/api/v1/photos/[^?]+)\?.*")
LIBRARIES = ("contenttypes", "auth", "admin", "sessions", "axes", "rest_framework_api_key")


def read(name: str) -> Any:
    """Return a document that lies here."""
    return json.loads(gzip.decompress((HERE / name).read_bytes()))


def migrate(*target: str) -> None:
    """Migrate without a word."""
    call_command("migrate", *target, interactive=False, verbosity=0)


def fill(tables: Mapping[str, Any]) -> None:
    """Put the rows in, as they were."""
    with transaction.atomic(), connection.cursor() as cursor:
        for table, held in tables.items():
            columns = connection.introspection.get_table_description(cursor, table)
            kinds = {column.name: column.type_code for column in columns}
            places = ", ".join(["%s"] * len(held["columns"]))
            named = ", ".join(connection.ops.quote_name(name) for name in held["columns"])
            into = f"INSERT INTO {connection.ops.quote_name(table)} ({named}) VALUES ({places})"  # noqa: S608  names of our own
            for row in held["rows"]:
                pairs = zip(held["columns"], row, strict=True)
                cursor.execute(into, [stored(value, kinds[name]) for name, value in pairs])


def stored(value: Any, kind: Any) -> Any:
    """Return a value of SQLite as the database takes it."""
    if isinstance(value, dict):
        return base64.b64decode(value["base64"])
    is_bool = connection.vendor == "postgresql" and kind == 16
    return bool(value) if is_bool and value is not None else value


def count_on() -> None:
    """Set PostgreSQL's counters behind the rows that were put in."""
    models = [model for label in OLD for model in apps.get_app_config(label).get_models()]
    with connection.cursor() as cursor:
        for statement in connection.ops.sequence_reset_sql(no_style(), models):
            cursor.execute(statement)


def unlike(old: Any, new: Any, place: str) -> Iterator[str]:
    """Yield where something that was answered is missing or another; what is new is no matter."""
    if isinstance(old, dict) and isinstance(new, dict):
        for name, value in old.items():
            if name not in new:
                yield f"{place}.{name}: gone"
            else:
                yield from unlike(value, new[name], f"{place}.{name}")
    elif isinstance(old, list) and isinstance(new, list) and len(old) == len(new):
        for number, (was, now) in enumerate(zip(old, new, strict=True)):
            yield from unlike(was, now, f"{place}.{number}")
    elif plain(old) != plain(new):
        yield f"{place}: {json.dumps(old)} was, {json.dumps(new)} is"


def plain(value: Any) -> Any:
    """Return a value, of a link only where it leads: host and signature are of this very moment."""
    link = LINK.fullmatch(value) if isinstance(value, str) else None
    return link["path"] if link else value


def asked(held: Mapping[str, Any]) -> Iterator[str]:
    """Yield what is answered otherwise than it was."""
    with time_machine.travel(datetime.fromisoformat(held["taken_at"]), tick=False):
        for name, answers in held["answers"].items():
            old_key = ApiKey.objects.get(name=name)
            owner = Organisation.objects.get(pk=old_key.organisation_id)
            secret = key_add(organisation=owner, name="today", scopes=old_key.scopes).secret
            client = Client(headers={"Host": "localhost", "Authorization": f"Bearer {secret}"})
            for path, old in answers.items():
                answer = client.get(f"/api/v1{path}")
                new = answer.json() if answer.status_code < 300 else {"status": answer.status_code}
                yield from unlike(old, new, f"{name} {path}")


def steps_of(job: Job) -> list[Step]:
    """Return the steps of a job's history, in order."""
    return [entry.step for entry in job.history.order_by("number")]


def main() -> None:
    """Print a document: what differs, and the jobs whose history leads elsewhere."""
    for library in LIBRARIES:
        migrate(library)
    for label, number in OLD.items():
        migrate(label, number)
    fill(read("rows.json.gz"))
    migrate()
    count_on()
    jobs = list(Job.objects.all())
    astray = [str(job.pk) for job in jobs if replay(steps_of(job)) != job.state]
    held = read("answers.json.gz")
    found = {
        "jobs": len(jobs),
        "astray": astray,
        "asked": sum(map(len, held["answers"].values())),
        "unlike": list(asked(held)),
    }
    print(json.dumps(found))  # noqa: T201  that is what it is for
