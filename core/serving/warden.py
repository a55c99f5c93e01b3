"""Ends the service's programs where their supervisor died without a word (SIGKILL, a crash).

A separate, small process: it reads process groups from the supervisor, one line with all of
them whenever they change. The end of that pipe means the supervisor is gone. Then each group is
asked to stop, and after a while killed with all its children, so that no orphan keeps the port
or goes on sending. It works wherever there are pipes and process groups, and imports nothing
of the project.
"""

import os
import signal
import sys
import time

PATIENCE_SECONDS = 5.0
POLL_SECONDS = 0.05


def signal_group(group: int, number: int) -> bool:
    """Send a signal to a process group (0 only asks); return whether anybody is in it."""
    try:
        os.killpg(group, number)
    except ProcessLookupError:
        return False
    except PermissionError:  # macOS says so of a group that holds only the dead
        return False
    return True


def end_groups(groups: set[int], patience: float) -> None:
    """Ask the leaders of these groups to stop; kill what is left when patience runs out."""
    for group in groups:
        try:
            os.kill(group, signal.SIGTERM)
        except ProcessLookupError:
            continue  # its children, if any, are killed below
    deadline = time.monotonic() + patience
    while time.monotonic() < deadline and any(signal_group(group, 0) for group in groups):
        time.sleep(POLL_SECONDS)
    for group in groups:
        signal_group(group, signal.SIGKILL)


def main() -> None:
    """Read the groups until the supervisor is gone."""
    for ignored in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        signal.signal(ignored, signal.SIG_IGN)
    groups: set[int] = set()
    for line in sys.stdin:
        groups = {int(word) for word in line.split()}
    end_groups(groups, PATIENCE_SECONDS)


if __name__ == "__main__":
    main()
