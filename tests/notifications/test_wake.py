"""The thread that sends wake-ups: one for each process, and never gone for good."""

import os
import threading

import pytest

from notifications.services import wake
from notifications.services.wake import Waker
from tests.patience import PATIENCE_SECONDS


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_a_thread_that_something_unforeseen_ended_is_started_again(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    sent = threading.Event()

    def fail() -> bool:
        raise RuntimeError("unforeseen")

    def tell() -> bool:
        sent.set()
        return True

    waker = Waker()
    monkeypatch.setattr(wake, "send_wake_up", fail)
    waker.wake()
    assert waker._thread
    waker._thread.join(PATIENCE_SECONDS)
    assert not waker._thread.is_alive()
    monkeypatch.setattr(wake, "send_wake_up", tell)
    waker.wake()
    assert sent.wait(PATIENCE_SECONDS)


@pytest.mark.filterwarnings("ignore:This process .* is multi-threaded:DeprecationWarning")
def test_a_fork_gets_a_thread_of_its_own(monkeypatch: pytest.MonkeyPatch) -> None:
    sent = threading.Event()

    def tell() -> bool:
        sent.set()
        return True

    monkeypatch.setattr(wake, "send_wake_up", tell)
    waker = Waker()
    waker.wake()
    assert sent.wait(PATIENCE_SECONDS)
    sent = threading.Event()
    child = os.fork()
    if child == 0:
        waker.wake()
        os._exit(0 if sent.wait(PATIENCE_SECONDS) else 1)
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0
