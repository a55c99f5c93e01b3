"""What every test may use: two dealers, two workshops, their systems and their people."""

from collections.abc import Iterator

import pytest
from hypothesis import HealthCheck
from hypothesis import settings as hypothesis_settings

from core.api.throttling import COUNTER
from tests.scene import Scene, make_scene

hypothesis_settings.register_profile(
    "shutline", deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
hypothesis_settings.load_profile("shutline")


@pytest.fixture
def scene(db: None) -> Scene:
    """Return a workshop with a dealer, and another workshop with another dealer."""
    del db
    return make_scene()


@pytest.fixture(autouse=True)
def fresh_limits() -> Iterator[None]:
    """Forget the requests that earlier tests made."""
    COUNTER.clear()
    yield
    COUNTER.clear()
