"""What becomes of the tablets and keys that were there before their makers were kept."""

from typing import Any

import pytest
from django.contrib.sessions.backends.db import SessionStore
from django.contrib.sessions.models import Session
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from core.clock import now

BEFORE = [("accounts", "0004_guesses_and_known_places")]
AFTER = [("accounts", "0006_tablets_of_heads")]


def migrated(to: list[tuple[str, str]]) -> Any:
    """Migrate and return the models as they are there."""
    executor = MigrationExecutor(connection)
    executor.migrate(to)
    return MigrationExecutor(connection).loader.project_state(to).apps


@pytest.mark.django_db(transaction=True)
def test_only_tablets_of_owners_and_managers_stay_and_keys_read_what_they_read() -> None:
    apps = migrated(BEFORE)
    try:
        organisation, person, device, key = (
            apps.get_model("accounts", name)
            for name in ("Organisation", "Person", "Device", "ApiKey")
        )
        place = organisation.objects.create(kind="workshop", name="Larkholt Valeting")
        dealer = organisation.objects.create(kind="dealer", name="Larkholt Cars")
        people = (
            ("Head", "manager", True), ("Hand", "valeter", True), ("Gone", "owner", False),
            ("Twin", "owner", True), ("Twin", "valeter", True),
        )  # fmt: skip
        for number, (name, role, active) in enumerate(people):
            person.objects.create(
                email=f"{number}@x.example", name=name, role=role, is_active=active,
                organisation=place,
            )  # fmt: skip
        sessions = {}
        for name in ("Head", "Hand", "Gone", "Twin", "Nobody"):
            made = device.objects.create(
                workshop=place, name=name, secret_hash=name, added_by=name, added_at=now()
            )
            store = SessionStore()
            store["device"] = str(made.pk)
            store.save()
            sessions[name] = store.session_key
        for prefix, owner, scopes in (
            ("reader", place, ["jobs.read", "jobs.work"]),
            ("worker", place, ["jobs.work"]),
            ("dealer", dealer, ["jobs.read"]),
        ):
            key.objects.create(
                id=prefix, prefix=prefix, hashed_key="x", name=prefix, organisation=owner,
                scopes=scopes,
            )  # fmt: skip
        apps = migrated(AFTER)
        device, key = apps.get_model("accounts", "Device"), apps.get_model("accounts", "ApiKey")
        kept = device.objects.filter(revoked_at=None)
        assert [(tablet.name, tablet.made_by.name) for tablet in kept] == [("Head", "Head")]
        assert [session.session_key for session in Session.objects.all()] == [sessions["Head"]]
        assert {api_key.prefix: api_key.scopes for api_key in key.objects.all()} == {
            "reader": ["flow.read", "jobs.read", "jobs.work"],
            "worker": ["jobs.work"],
            "dealer": ["jobs.read"],
        }
    finally:
        migrated(MigrationExecutor(connection).loader.graph.leaf_nodes())
