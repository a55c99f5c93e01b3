"""A world made once for a test file; each test finds it as it was made."""

from collections.abc import Iterator

import pytest
from django.db import transaction
from pytest_django import DjangoDbBlocker

from tests.api.world import World


@pytest.fixture(scope="module")
def _world(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[World]:
    del django_db_setup
    with django_db_blocker.unblock(), transaction.atomic():
        yield World()
        transaction.set_rollback(True)


@pytest.fixture
def world(_world: World) -> Iterator[World]:
    """Return the world; what the test does to it is undone."""
    with transaction.atomic():
        yield _world
        transaction.set_rollback(True)
