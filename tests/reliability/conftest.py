"""What the tests of reliability share."""

from collections.abc import Iterator

import pytest

from tests.notifications.receiver import Receiver


@pytest.fixture
def receiver() -> Iterator[Receiver]:
    with Receiver() as running:
        yield running
