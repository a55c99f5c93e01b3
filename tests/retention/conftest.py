"""What the tests of retention share: one marked car for all, and folders of each test's own."""

import shutil
from collections.abc import Iterator
from dataclasses import fields
from pathlib import Path
from typing import Any, NamedTuple

import pytest
from django.db import transaction
from django.test import override_settings
from pytest_django import DjangoDbBlocker, Settings

from tests.retention.marked import marked_car
from tests.scene import Scene, make_scene


class Marked(NamedTuple):
    """The scene with its marked car, and the folder that its pictures were put into."""

    scene: Scene
    car: Any
    pictures: Path


def kept_in(folder: Path) -> dict[str, Any]:
    """Return the settings for a store of photographs and a folder of e-mails."""
    photos = {"BACKEND": "core.stores.FolderStore", "OPTIONS": {"location": str(folder / "p")}}
    (folder / "mail").mkdir(parents=True, exist_ok=True)
    from django.conf import settings  # noqa: PLC0415  as they stand now

    return {
        "STORAGES": {**settings.STORAGES, "photos": photos},
        "EMAIL_FILE_PATH": str(folder / "mail"),
    }


@pytest.fixture(autouse=True)
def stores(settings: Settings, tmp_path: Path) -> Path:
    """Keep photographs and e-mails in folders of the test."""
    for name, value in kept_in(tmp_path).items():
        setattr(settings, name, value)
    return tmp_path


@pytest.fixture(scope="module")
def _marked(
    django_db_setup: None, django_db_blocker: DjangoDbBlocker, tmp_path_factory: Any
) -> Iterator[Marked]:
    del django_db_setup
    folder = tmp_path_factory.mktemp("marked")
    with django_db_blocker.unblock(), transaction.atomic():
        with override_settings(**kept_in(folder)):
            scene = make_scene()
            marked = Marked(scene, marked_car(scene), folder / "p")
        yield marked
        transaction.set_rollback(True)


@pytest.fixture
def marked(_marked: Marked, stores: Path) -> Iterator[Marked]:
    """Return the marked car with its pictures; what the test does to them is undone."""
    shutil.copytree(_marked.pictures, stores / "p")
    with transaction.atomic():
        yield _marked._replace(scene=_read_again(_marked.scene))
        transaction.set_rollback(True)


def _read_again(scene: Scene) -> Scene:
    """Return the scene as the database has it: a test before may have changed what it held."""
    kept = {field.name: getattr(scene, field.name) for field in fields(scene)}
    return Scene(**{name: type(row).objects.get(pk=row.pk) for name, row in kept.items()})
