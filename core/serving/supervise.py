"""The program that `serve` becomes when all is prepared: it looks after the parts, and is small.

`serve` loads Django to migrate and to check; that is memory which the supervisor never needs
again. So it writes down what is to be run and replaces itself by this program, which keeps the
process id and every open lock, and imports neither Django nor any other library.
"""

import json
import os
import shutil
import socket
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import NoReturn

from core.serving.processes import Program
from core.serving.supervisor import Supervisor

ANSWER_SECONDS = 1.0
FIRST_LINE_BYTES = 64
OK = b"200"


@dataclass(frozen=True, slots=True)
class Plan:
    """What is to be run, and how it is known to be up.

    asked_at is host and port of /healthz, None without a web server; host_header a name that the
    service answers to; metrics_folder goes at the end.
    """

    parts: tuple[Program, ...]
    asked_at: tuple[str, int] | None
    host_header: str
    ready_line: str
    stop_seconds: float
    metrics_folder: str

    @classmethod
    def read(cls, text: str) -> "Plan":
        """Return the plan that `become_supervisor` has written."""
        found = json.loads(text)
        found["parts"] = tuple(
            Program(part["name"], tuple(part["command"]), part["environment"])
            for part in found["parts"]
        )
        found["asked_at"] = tuple(found["asked_at"]) if found["asked_at"] else None
        return cls(**found)


def become_supervisor(plan: Plan, *, python: Sequence[str], held: Sequence[int]) -> NoReturn:
    """Replace this process by the supervisor; `held` are the descriptors of its locks."""
    with tempfile.TemporaryFile("w+") as file:  # no name: it is gone with its last descriptor
        json.dump(asdict(plan), file)
        file.flush()
        file.seek(0)
        for descriptor in (file.fileno(), *held):
            os.set_inheritable(descriptor, True)  # noqa: FBT003  positional only
        sys.stdout.flush()
        sys.stderr.flush()
        command = [*python, "-m", "core.serving.supervise", str(file.fileno())]
        # Where our modules are, it has to know before it reads the plan.
        path = {"PYTHONPATH": plan.parts[0].environment["PYTHONPATH"]}
        os.execve(command[0], command, {**os.environ, **path})  # noqa: S606  our own program


def answers(place: tuple[str, int], host_header: str) -> bool:
    """Return whether /healthz answers 200 just now.

    Of HTTP no more is needed than its first line; the library would bring TLS and e-mail along.
    """
    request = f"GET /healthz HTTP/1.1\r\nHost: {host_header}\r\nConnection: close\r\n\r\n"
    try:
        with socket.create_connection(place, timeout=ANSWER_SECONDS) as link:
            link.sendall(request.encode("ascii"))
            return link.recv(FIRST_LINE_BYTES).split(b" ")[1:2] == [OK]
    except OSError:
        return False


def say(line: str) -> None:
    """Print a line for the person who started it."""
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def main() -> int:
    """Run what the plan says until told to stop; return the exit code."""
    with os.fdopen(int(sys.argv[1])) as file:
        plan = Plan.read(file.read())
    place = plan.asked_at
    try:
        return Supervisor(
            plan.parts,
            is_up=lambda: place is None or answers(place, plan.host_header),
            tell_ready=lambda: say(plan.ready_line),
            stop_seconds=plan.stop_seconds,
        ).run()
    finally:
        shutil.rmtree(plan.metrics_folder, ignore_errors=True)


if __name__ == "__main__":
    sys.exit(main())
