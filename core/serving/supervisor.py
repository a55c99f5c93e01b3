"""Starts the service's parts, restarts one that dies, and stops them all together.

Each program leads a process group of its own: a Ctrl-C at the terminal reaches the supervisor
only, and a program that died can be cleared away with the children it left behind. Logging is
loaded when there is something to log: in the usual case this stays a small process.
"""

import os
import select
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import FrameType

from core.serving import warden
from core.serving.processes import STOP_SIGNALS, Part, Process

FIRST_PAUSE_SECONDS = 0.5
LONGEST_PAUSE_SECONDS = 10.0
STEADY_SECONDS = 30.0  # a program that lived this long is restarted at the first pause again
ATTENTION_SECONDS = 0.2  # how long the loop sleeps where no signal wakes it
KILLED_BY_HAND = 130  # the shell's exit code for a program ended by Ctrl-C


def pause_before_restart(failures: int) -> float:
    """Return the seconds to wait after this many deaths in a row (1 or more)."""
    return min(FIRST_PAUSE_SECONDS * 2.0 ** min(failures - 1, 10), LONGEST_PAUSE_SECONDS)


def warn(event: str, **facts: object) -> None:
    """Log a warning as every other process does."""
    from core.serving.logs import logger  # noqa: PLC0415  seldom needed, and large

    logger(__name__).warning(event, **facts)


@dataclass(slots=True)
class Child:
    """A part and the process that is running it, if any."""

    part: Part
    process: Process | None = None
    started_at: float = 0.0
    start_due_at: float = 0.0
    failures: int = 0

    def start(self, not_its: Sequence[int] = ()) -> None:
        """Start the process."""
        self.process = self.part.start(not_its)
        self.started_at = time.monotonic()

    def kill(self) -> None:
        """Kill the process and whatever it started."""
        if self.process:
            self.process.kill_all()
            self.process.wait()

    def clear_away(self) -> int | None:
        """Return the exit code of a process that has ended, after killing what it left behind.

        An orphaned web process would keep the port, an orphaned worker would go on sending.
        """
        code = self.process.poll() if self.process else None
        if self.process and code is not None:
            self.process.kill_all()
            self.process = None
        return code

    def plan_restart(self) -> float:
        """Decide when to start it again; return the pause in seconds."""
        now = time.monotonic()
        self.failures = 1 if now - self.started_at >= STEADY_SECONDS else self.failures + 1
        pause = pause_before_restart(self.failures)
        self.start_due_at = now + pause
        return pause


class Supervisor:
    """Runs the parts until a signal says stop.

    is_up says whether the service answers; tell_ready is called once, when it first does.
    """

    def __init__(
        self,
        parts: Sequence[Part],
        *,
        is_up: Callable[[], bool],
        tell_ready: Callable[[], None],
        stop_seconds: float,
    ) -> None:
        self.children = [Child(part) for part in parts]
        self.is_up = is_up
        self.tell_ready = tell_ready
        self.stop_seconds = stop_seconds
        self.stopping = False
        self.kill_now = False
        self.ready = False
        self.warden: subprocess.Popen[str] | None = None
        self.told: set[int] | None = None
        self.wake_read, self.wake_write = os.pipe()

    def run(self) -> int:
        """Run until told to stop; return the exit code."""
        self._listen()
        try:
            while not self.stopping:
                self._look_after()
                self._rest()
            return self._stop()
        finally:
            # However it ended, nothing is left running.
            for child in self.children:
                child.kill()
            self._dismiss_warden()

    def _listen(self) -> None:
        for descriptor in (self.wake_read, self.wake_write):
            os.set_blocking(descriptor, False)
        # Any signal, the death of a child included, ends the rest at once.
        signal.set_wakeup_fd(self.wake_write, warn_on_full_buffer=False)
        signal.signal(signal.SIGCHLD, lambda *_: None)
        for number in STOP_SIGNALS:
            signal.signal(number, self._on_signal)

    def _on_signal(self, number: int, _frame: FrameType | None) -> None:
        # A service manager may repeat SIGTERM; only a person at the keyboard means "now".
        if self.stopping and number == signal.SIGINT:
            self.kill_now = True
        self.stopping = True

    def _rest(self) -> None:
        if select.select([self.wake_read], [], [], ATTENTION_SECONDS)[0]:
            os.read(self.wake_read, 4096)

    def _look_after(self) -> None:
        for child in self.children:
            code = child.clear_away()
            if code is not None:
                pause = child.plan_restart()
                warn("program_died", program=child.part.name, code=code, restart_in_seconds=pause)
            if child.process is None and time.monotonic() >= child.start_due_at:
                child.start(not_its=self._ours())
                self._tell_warden()
        self._tell_warden()
        if not self.ready and self.is_up():
            self.ready = True
            self.tell_ready()

    def _ours(self) -> list[int]:
        """Return the descriptors that a copy of this process must not keep open."""
        pipe = self.warden.stdin.fileno() if self.warden and self.warden.stdin else None
        return [self.wake_read, self.wake_write, *([] if pipe is None else [pipe])]

    def _tell_warden(self) -> None:
        """Give the warden the groups to end if this process dies; replace a dead warden.

        Forks are of this process's own group, and so the affair of whoever looks after that.
        """
        running = [child.process for child in self.children if child.process]
        groups = {process.pid for process in running if process.leads_group}
        if not groups and self.warden is None:
            return
        if self.warden is None or self.warden.poll() is not None:
            self.warden = subprocess.Popen(  # noqa: S603  our own file
                [sys.executable, "-I", "-S", str(Path(warden.__file__))],
                stdin=subprocess.PIPE,
                text=True,
                process_group=0,
            )
            self.told = None
        if groups != self.told and self.warden.stdin:
            try:
                self.warden.stdin.write(" ".join(map(str, sorted(groups))) + "\n")
                self.warden.stdin.flush()
                self.told = groups
            except BrokenPipeError:
                self.told = None  # it has just died; the next round replaces it

    def _dismiss_warden(self) -> None:
        if self.warden:
            self.warden.kill()
            self.warden.wait()

    def _stop(self) -> int:
        """Ask every program to stop, wait, kill what is left; return the exit code."""
        running = [child for child in self.children if child.process]
        for child in running:
            if child.process:
                child.process.terminate()
        deadline = time.monotonic() + self.stop_seconds
        while running and not self.kill_now and time.monotonic() < deadline:
            self._rest()
            running = [child for child in running if child.clear_away() is None]
        for child in running:
            warn("program_killed", program=child.part.name, asked_twice=self.kill_now)
            child.kill()
        return KILLED_BY_HAND if self.kill_now else 0
