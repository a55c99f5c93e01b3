"""Names that others keep stay as they are: in databases, queues, caches, links and keys.

A name given once stays: `tests/names.json` holds those that stand in databases made by earlier
releases, in messages that still wait, in pages that tablets keep, and in links that were sent.
A release adds its own: `manage.py shell -c "from tests.test_names import keep; keep()"`.
"""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from uuid import UUID

import pytest
from celery import current_app
from django.apps import apps
from django.contrib.staticfiles import finders
from django.db.migrations.loader import MigrationLoader
from django.template.loader import get_template
from django.test import override_settings
from django.urls import URLPattern, URLResolver, get_resolver

from accounts.models import SIDE_SCOPES
from jobs.work.models import WorkRequest
from jobs.work.selectors.photographs import link_end
from jobs.work.selectors.requests.links import decision_url
from notifications.catalogue import event_types

DECISION = (
    "https://valeter.example/decide/"
    "AAAAAAAAAAAAAAAAAAAAAQAB.M3BjomTpeQM90a_AO4aDEpfybbG-b6YH-DDtKjeef7U"
)
PHOTO = "YYlQxHbBLzMlABpqo7jITr34xKr6CVnMlQn5dLukbC8"
KEPT = Path(__file__).with_name("names.json")
OURS = ("core", "accounts", "jobs", "notifications", "retention")


def models() -> list[str]:
    """Return our models by label, with their tables."""
    return [
        f"{model._meta.label} {model._meta.db_table}"
        for label in OURS
        for model in apps.get_app_config(label).get_models()
    ]


def migrations() -> list[str]:
    """Return our migrations, as databases know them."""
    return [f"{app}.{name}" for app, name in MigrationLoader(None).graph.nodes if app in OURS]


def tasks() -> list[str]:
    """Return our tasks by the names that messages carry."""
    current_app.loader.import_default_modules()
    return [name for name in current_app.tasks if name.startswith(tuple(f"{o}." for o in OURS))]


def addresses() -> list[str]:
    """Return the addresses with their names, but for the operator's."""
    return list(_addresses(get_resolver().url_patterns, "/"))


def _addresses(patterns: list[Any], prefix: str) -> Iterator[str]:
    for entry in patterns:
        route = prefix + str(entry.pattern)
        if isinstance(entry, URLResolver) and not route.startswith("/admin/"):
            yield from _addresses(entry.url_patterns, route)
        elif isinstance(entry, URLPattern):
            yield f"{route} {entry.name or ''}".strip()


def templates() -> list[str]:
    """Return our templates under the names that they are loaded by."""
    return _files("templates")


def static() -> list[str]:
    """Return our static files under the names that pages and tablets know."""
    return _files("static")


def _files(kind: str) -> list[str]:
    root = Path(__file__).resolve().parents[1]
    return [
        str(path.relative_to(folder))
        for app in OURS
        for folder in sorted((root / app).rglob(kind))
        if folder.is_dir() and folder.name == kind
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    ]


def scopes() -> list[str]:
    """Return the scopes that keys hold, by side."""
    return [f"{side} {scope}" for side, held in SIDE_SCOPES.items() for scope in held]


def events() -> list[str]:
    """Return the types of events that endpoints have chosen."""
    return list(event_types())


NAMES = {
    found.__name__: found
    for found in (models, migrations, tasks, addresses, templates, static, scopes, events)
}


@pytest.mark.parametrize("kind", NAMES)
def test_a_name_once_given_stays(kind: str) -> None:
    kept = json.loads(KEPT.read_text())[kind]
    assert len(kept) > 5
    assert [name for name in kept if name not in set(NAMES[kind]())] == []


def test_a_template_is_found_under_its_name() -> None:
    for name in json.loads(KEPT.read_text())["templates"]:
        assert get_template(name)


def test_a_static_file_is_found_under_its_name() -> None:
    missing = [name for name in json.loads(KEPT.read_text())["static"] if not finders.find(name)]
    assert missing == []


@override_settings(SECRET_KEY="one that stays", PUBLIC_URL="https://valeter.example")
def test_links_sent_before_still_lead_somewhere() -> None:
    """The salts are part of them: these two were signed by an earlier release."""
    request = WorkRequest(pk=UUID(int=1), round=1)
    assert decision_url(request) == DECISION
    rendition = type("Rendition", (), {"photo_id": UUID(int=2), "size": 480})()
    assert link_end(rendition, "1800000000", PHOTO) is not None


def keep() -> None:
    """Write the names that there are now to the list."""
    kept = {kind: sorted(set(found())) for kind, found in NAMES.items()}
    KEPT.write_text(json.dumps(kept, indent=1) + "\n")
