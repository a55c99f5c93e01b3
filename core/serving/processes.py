"""The two ways in which a part of the service is started: as a program, or by forking this one.

A program leads a process group of its own. A fork stays in the group of the program that it came
from, so that whoever ends that group ends it too. Imports nothing of the project but the warden.
"""

import os
import signal
import subprocess
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from core.serving import warden

STOP_SIGNALS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
HANDLED = (*STOP_SIGNALS, signal.SIGCHLD)
FAILED = 1


class Process(Protocol):
    """A process that was started and can be ended."""

    pid: int
    leads_group: bool

    def poll(self) -> int | None:
        """Return the exit code, None while it runs; a death by a signal is its number below 0."""

    def wait(self) -> int:
        """Wait for its end."""

    def terminate(self) -> None:
        """Ask it to stop."""

    def kill_all(self) -> None:
        """Kill it, and what it started as far as that is known; nothing where it has ended."""


class Part(Protocol):
    """What can be started again and again under one name."""

    @property
    def name(self) -> str:
        """Return what it is called."""

    def start(self, not_its: Sequence[int]) -> Process:
        """Start it; `not_its` are descriptors of this process that it must not hold."""


class ProgramProcess(subprocess.Popen[bytes]):
    """A program of its own that runs."""

    leads_group = True

    def kill_all(self) -> None:
        """Kill its whole group."""
        warden.signal_group(self.pid, signal.SIGKILL)


@dataclass(frozen=True, slots=True)
class Program:
    """A program: its name, its command line, and what differs in its environment from ours."""

    name: str
    command: tuple[str, ...]
    environment: Mapping[str, str]

    def start(self, not_its: Sequence[int]) -> ProgramProcess:
        """Start it in a process group of its own; of ours it inherits no descriptor anyway."""
        del not_its
        return ProgramProcess(
            self.command,
            env={**os.environ, **self.environment},
            stdin=subprocess.DEVNULL,
            process_group=0,
        )


class ForkedProcess:
    """A copy of this process that runs."""

    leads_group = False

    def __init__(self, pid: int) -> None:
        self.pid = pid
        self._code: int | None = None

    def poll(self) -> int | None:
        """Return the exit code, None while it runs."""
        return self._ask(os.WNOHANG)

    def wait(self) -> int:
        """Wait for its end."""
        code = self._ask(0)
        return FAILED if code is None else code

    def terminate(self) -> None:
        """Ask it to stop."""
        self._signal(signal.SIGTERM)

    def kill_all(self) -> None:
        """Kill it; its own children are told by the system (`PR_SET_PDEATHSIG`)."""
        self._signal(signal.SIGKILL)

    def _ask(self, how: int) -> int | None:
        if self._code is None:
            pid, status = os.waitpid(self.pid, how)
            if pid:
                self._code = os.waitstatus_to_exitcode(status)
        return self._code

    def _signal(self, number: int) -> None:
        if self._code is None:  # not waited for: the number is still its own
            os.kill(self.pid, number)


@dataclass(frozen=True, slots=True)
class Fork:
    """A copy of this process that goes on with `run`, and shares what is loaded by then."""

    name: str
    run: Callable[[], int]

    def start(self, not_its: Sequence[int]) -> ForkedProcess:
        """Fork. No signal is taken for ours in the copy, or lost by it."""
        signal.pthread_sigmask(signal.SIG_BLOCK, HANDLED)
        try:
            pid = os.fork()
            if pid == 0:
                self._go_on(not_its)
        finally:
            signal.pthread_sigmask(signal.SIG_UNBLOCK, HANDLED)
        return ForkedProcess(pid)

    def _go_on(self, not_its: Sequence[int]) -> None:
        """Run as the copy; it never comes back from here."""
        code = FAILED
        try:
            signal.set_wakeup_fd(-1)
            for number in HANDLED:
                signal.signal(number, signal.SIG_DFL)
            signal.pthread_sigmask(signal.SIG_UNBLOCK, HANDLED)
            for descriptor in not_its:
                os.close(descriptor)
            code = self.run()
        except SystemExit as ending:
            code = ending.code if isinstance(ending.code, int) else FAILED
        except BaseException:  # noqa: BLE001  nobody above it may see it: it would run on as us
            sys.excepthook(*sys.exc_info())
        finally:
            sys.stdout.flush()
            sys.stderr.flush()
            os._exit(code)
