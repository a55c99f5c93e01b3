"""The tools that check and test the scripts of the pages, by Node.js.

`python -m tests.node install` fetches them, as `tests/scripts/package-lock.json` names them;
`python -m tests.node check` has tsc and biome look at every script. Where Node.js is missing, or
npm has no network, both say what is left out; SHUTLINE_REQUIRE_SERVERS=1 makes that an error.
"""

import re
import subprocess
import sys
from pathlib import Path

from tests import servers

ROOT = Path(__file__).resolve().parents[1]
SCRIPTS = servers.SCRIPTS
PROJECTS = ("pages", "worker", "tests")
OURS = ("accounts", "core", "jobs", "notifications")
# What npm calls it when it reaches nobody; all else is a fault of the lock file or of npm.
NO_NETWORK = re.compile(
    r"EAI_AGAIN|ECONNREFUSED|ECONNRESET|EHOSTUNREACH|ENETUNREACH|ENOTFOUND|ETIMEDOUT|"
    r"ERR_SOCKET_TIMEOUT|FETCH_ERROR"
)


def install() -> None:
    """Install the tools; without Node.js or network say that, and go on where nobody needs them."""
    problem = servers.node_problem()
    if problem is not None:
        _leave_out(problem)
        return
    done = subprocess.run(
        ["npm", "ci", "--ignore-scripts", "--no-audit", "--no-fund", "--loglevel=error"],
        cwd=SCRIPTS,
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode == 0:
        servers.SCRIPT_TOOLS.touch()
        return
    reached = NO_NETWORK.search(done.stderr)
    if reached is None:
        sys.exit(
            f"npm could not install what {SCRIPTS / 'package-lock.json'} names:\n{done.stderr}"
        )
    _leave_out(f"npm reaches no registry ({reached[0]})")


def check() -> None:
    """Run tsc and biome over all scripts; say which are left out where that cannot be done."""
    problem = servers.scripts_problem()
    if problem is not None:
        _leave_out(problem)
        return
    commands = [["tsc", "--project", f"tsconfig.{name}.json"] for name in PROJECTS]
    commands.append(["biome", "check", "--config-path=.", ".", *map(str, scripts())])
    failed = [
        command[0]
        for command in commands
        if subprocess.run(
            [SCRIPTS / "node_modules" / ".bin" / command[0], *command[1:]], cwd=SCRIPTS, check=False
        ).returncode
    ]
    if failed:
        sys.exit(f"The scripts do not pass: {', '.join(failed)}.")


def scripts() -> list[Path]:
    """Return every script that a browser is given."""
    return [path for app in OURS for path in sorted((ROOT / app).rglob("*.js"))]


def _leave_out(problem: str) -> None:
    if servers.required():
        sys.exit(f"The scripts cannot be checked and tested: {problem}.")
    sys.stdout.write(f"Left out: the checks and tests of the scripts; {problem}.\n")


if __name__ == "__main__":
    {"install": install, "check": check}[sys.argv[1]]()
