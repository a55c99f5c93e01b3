"""Which servers and programs this machine has for the tests that need them.

`python -m tests.servers COMMAND…` runs a command with their addresses in its environment, and
runs nothing, saying so, where there is none. SHUTLINE_REQUIRE_SERVERS=1 makes absence an error.
"""

import os
import shutil
import subprocess
import sys
from functools import cache
from pathlib import Path

import psycopg
import redis

POSTGRES = "postgres://postgres@127.0.0.1:5432/postgres"
# Database 15, not 0: tests flush it, and 0 may hold something somebody needs.
REDIS = "redis://127.0.0.1:6379/15"
CHROMIUM_NAMES = ("chromium", "chromium-browser", "google-chrome")
OLDEST_NODE = 20
# What must go on working while this release changes the tables; a release moves it to itself.
RELEASE_BEFORE = "511a5e938741841d71a66b1bcc61a91680201362"
SCRIPTS = Path(__file__).parent / "scripts"
SCRIPT_TOOLS = SCRIPTS / "node_modules" / ".installed"  # the Makefile's, newer than what it names
ANSWER_SECONDS = 30  # a server that is not there refuses at once
HOW_TO_ADD = (
    "Start PostgreSQL and Redis, or name them with DATABASE_URL and CELERY_BROKER_URL, "
    "and `make test` runs there as well."
)


class ServerMissingError(Exception):
    """A server that was named or required is not there."""


def required() -> bool:
    """Return whether absence is an error."""
    return os.environ.get("SHUTLINE_REQUIRE_SERVERS", "") == "1"


def refuse_absence(what: str, *, named: bool, why: str) -> None:
    """Raise where it was named or required; else its absence is no error."""
    if named or required():
        raise ServerMissingError(f"{what} is needed and cannot be used: {why}")


@cache
def postgres_url() -> str | None:
    """Return the URL of a PostgreSQL where test databases can be made, or None."""
    setting = os.environ.get("DATABASE_URL", "")
    named = setting.startswith(("postgres:", "postgresql:"))
    url = setting if named else POSTGRES
    try:
        with psycopg.connect(url, connect_timeout=ANSWER_SECONDS) as connection:
            row = connection.execute(
                "SELECT rolcreatedb OR rolsuper FROM pg_roles WHERE rolname = current_user"
            ).fetchone()
    except psycopg.Error as error:
        refuse_absence("PostgreSQL", named=named, why=str(error))
        return None
    if row == (True,):
        return url
    refuse_absence("PostgreSQL", named=named, why="its user may not make databases")
    return None


@cache
def redis_url() -> str | None:
    """Return the URL of a Redis database that tests may flush, or None."""
    setting = os.environ.get("CELERY_BROKER_URL", "")
    named = setting.startswith(("redis:", "rediss:"))
    url = setting if named else REDIS
    client = redis.Redis.from_url(url, socket_connect_timeout=ANSWER_SECONDS)
    try:
        client.ping()
    except redis.RedisError as error:
        refuse_absence("Redis", named=named, why=str(error))
        return None
    finally:
        client.close()
    return url


@cache
def chromium_path() -> str | None:
    """Return the path of a Chromium, or None."""
    path = next(filter(None, map(shutil.which, CHROMIUM_NAMES)), None)
    if path is None:
        refuse_absence("Chromium", named=False, why="it is not installed")
    return path


@cache
def release_before_problem() -> str | None:
    """Return why the code of the release before cannot be had here, or None where it can.

    Never an error: how deep a clone is says nothing of the machine.
    """
    git = shutil.which("git")
    if git is None:
        return "git is not installed"
    asked = [git, "cat-file", "-e", f"{RELEASE_BEFORE}^{{commit}}"]
    here = Path(__file__).parent
    known = subprocess.run(asked, cwd=here, capture_output=True, check=False).returncode == 0
    return None if known else "this is no clone with the whole history"


@cache
def node_path() -> str | None:
    """Return the path of a Node.js, or None."""
    path = shutil.which("node")
    if path is None:
        refuse_absence("Node.js", named=False, why="it is not installed")
    return path


@cache
def node_problem() -> str | None:
    """Return why Node.js cannot check and test the scripts here, or None where it can."""
    if shutil.which("node") is None:
        return "Node.js is not installed"
    if shutil.which("npm") is None:
        return "npm is not installed"
    version = subprocess.run(["node", "--version"], capture_output=True, text=True, check=True)
    if int(version.stdout.removeprefix("v").partition(".")[0]) < OLDEST_NODE:
        return f"Node.js is {version.stdout.strip()}, and {OLDEST_NODE} is the oldest that will do"
    return None


def scripts_problem() -> str | None:
    """Return why the scripts cannot be checked and tested here, or None where they can."""
    problem = node_problem()
    if problem is not None:
        return problem
    named = SCRIPTS / "package-lock.json"
    if not SCRIPT_TOOLS.exists() or SCRIPT_TOOLS.stat().st_mtime < named.stat().st_mtime:
        return "npm has not installed its tools: `make check` and `make test` do, with a network"
    return None


def left_out() -> list[str]:
    """Return a sentence for each part of the suite that this machine cannot run."""
    missing = []
    if postgres_url() is None:
        missing.append("Left out: everything on PostgreSQL, which does not answer here.")
    if redis_url() is None:
        missing.append("Left out: everything on Redis, which does not answer here.")
    if chromium_path() is None:
        missing.append("Left out: the tests in a browser; Chromium is not installed.")
    problem = scripts_problem()
    if problem is not None:
        missing.append(f"Left out: the tests of the scripts; {problem}.")
    if shutil.which("node") is None:
        missing.append("Left out: README's JavaScript verifier; Node.js is not installed.")
    problem = release_before_problem()
    if problem is not None:
        missing.append(f"Left out: the release before on this one's tables; {problem}.")
    return missing


def main(command: list[str]) -> None:
    """Become the command, with the servers' addresses in the environment."""
    try:
        found = {"DATABASE_URL": postgres_url(), "CELERY_BROKER_URL": redis_url()}
    except ServerMissingError as error:
        sys.exit(str(error).strip())
    servers = {name: url for name, url in found.items() if url}
    if not servers:
        sys.stdout.write("\n".join([*left_out(), HOW_TO_ADD, ""]))
        return
    sys.stdout.write(f"Once more, with {' and '.join(sorted(servers))} set:\n")
    sys.stdout.flush()
    os.execvpe(command[0], command, {**os.environ, **servers})  # noqa: S606  the Makefile's own


if __name__ == "__main__":
    main(sys.argv[1:])
