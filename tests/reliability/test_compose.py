"""docker-compose.yml: valid, complete, held to little; and its commands, run as they stand."""

import re
import secrets
import shlex
import signal
import subprocess
import sys
from collections.abc import Iterator, Mapping
from contextlib import ExitStack
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
import yaml
from cryptography.fernet import Fernet

from tests.patience import PATIENCE_SECONDS
from tests.reliability.service import (
    ROOT,
    Service,
    clean_environment,
    migrate,
    name_of,
    wait_until,
)
from tests.reliability.test_serve import free_place, freeze
from tests.reliability.world import own_servers

FILE = ROOT / "docker-compose.yml"
COMPOSE: dict[str, Any] = yaml.safe_load(FILE.read_text())
SERVICES: dict[str, dict[str, Any]] = COMPOSE["services"]
OURS = {name: service for name, service in SERVICES.items() if "build" in service}
PARTS = ("web", "notices", "work", "beat")
GIVEN = {
    "POSTGRES_PASSWORD": "invented",
    "SHUTLINE_SECRET_KEY": secrets.token_urlsafe(48),
    "SHUTLINE_FIELD_KEYS": Fernet.generate_key().decode(),
    "SHUTLINE_EMAIL_URL": "smtp://mail.example:25",
    "SHUTLINE_EMAIL_FROM": "Fernhollow Valeting <notices@fernhollow.example>",
}
VARIABLE = re.compile(r"\$\{(?P<name>\w+)(?::(?P<kind>[-?])(?P<rest>[^}]*))?\}")


class AskedForError(Exception):
    """A variable without which Compose does not start."""


def interpolated(text: str, given: Mapping[str, str]) -> str:
    """Return a value with its variables put in, by the rules of the Compose specification."""

    def value(found: re.Match[str]) -> str:
        known = given.get(found["name"], "")
        if not known and found["kind"] == "?":
            raise AskedForError(found["name"])
        return known or (found["rest"] if found["kind"] == "-" else "") or ""

    return VARIABLE.sub(value, text).replace("$$", "$")


def environment_of(name: str, given: Mapping[str, str]) -> dict[str, str]:
    """Return the environment of a container."""
    return {
        key: interpolated(str(value), given) for key, value in OURS[name]["environment"].items()
    }


def validated(path: Path) -> int:
    """Return the exit code of the check against the schema that the specification publishes.

    Compose Specification (compose-spec), schema/compose-spec.json, as check-jsonschema has it.
    """
    return subprocess.run(
        [sys.executable, "-m", "check_jsonschema", "--builtin-schema", "vendor.compose-spec", path],
        stdout=subprocess.DEVNULL,
        check=False,
        timeout=PATIENCE_SECONDS,
    ).returncode


def test_it_is_what_the_specification_asks_for(tmp_path: Path) -> None:
    assert validated(FILE) == 0
    broken = tmp_path / "docker-compose.yml"
    broken.write_text(FILE.read_text().replace("mem_limit:", "memory_limit:"))
    assert validated(broken) == 1


def test_every_setting_that_the_service_reads_is_handed_through() -> None:
    read = set(re.findall(r"\benv\.\w+\(\s*\"(\w+)\"", (ROOT / "core/settings.py").read_text()))
    assert len(read) > 40
    for name, service in OURS.items():
        assert read - service["environment"].keys() == set(), name


def test_what_has_no_safe_default_is_asked_for() -> None:
    for missing in GIVEN:
        with pytest.raises(AskedForError, match=missing):
            environment_of("web", {**GIVEN, missing: ""})


@pytest.mark.parametrize("name", SERVICES)
def test_a_container_is_held_to_little(name: str) -> None:
    service = SERVICES[name]
    assert service["cap_drop"] == ["ALL"]
    assert "cap_add" not in service
    assert service["security_opt"] == ["no-new-privileges:true"]
    assert service["read_only"] is True
    assert service["tmpfs"]
    assert re.fullmatch(r"\d+[mg]", service["mem_limit"])
    assert service["logging"]["options"].keys() == {"max-size", "max-file"}
    assert name == "migrate" or service["healthcheck"]["test"]  # which ends, and others wait for it
    assert name in OURS or service["user"] != "root"
    assert name in OURS or re.search(r":\d+\.\d+(\.\d+)?-\w+$", service["image"]), (
        "no exact version"
    )


def test_the_image_is_built_on_an_exact_version_and_runs_as_nobody_in_particular() -> None:
    lines = (ROOT / ".docker/Dockerfile").read_text().splitlines()
    (base,) = (line.split()[1] for line in lines if line.startswith("FROM"))
    assert re.fullmatch(r"python:\d+\.\d+\.\d+-slim-\w+", base)
    assert "USER shutline" in lines


@pytest.mark.parametrize("url", ["file:///data/mail", "console:"])
def test_mail_that_nobody_gets_is_refused(tmp_path: Path, url: str) -> None:
    environment = environment_of("work", {**GIVEN, "SHUTLINE_EMAIL_URL": url})
    environment["SHUTLINE_DATA_DIR"] = environment["SHUTLINE_ALIVE_DIR"] = str(tmp_path)
    environment["SHUTLINE_PHOTO_STORE"] = ""
    done = subprocess.run(
        [sys.executable, "manage.py", *OURS["work"]["command"]],
        cwd=ROOT,
        env={**clean_environment(), **environment},
        capture_output=True,
        text=True,
        check=False,
        timeout=PATIENCE_SECONDS,
    )
    assert done.returncode == 1
    assert "core.E065" in done.stderr
    assert "SHUTLINE_EMAIL_URL=smtp+tls://" in done.stderr


@pytest.fixture(scope="module")
def containers(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, Service]]:
    """Run the commands of the parts as processes, each with a folder for what it alone sees."""
    folder = tmp_path_factory.mktemp("composed")
    with ExitStack() as stack:
        servers = stack.enter_context(own_servers())
        port = urlsplit(f"//{free_place()}").port
        migrate(
            {
                **environment_of("migrate", GIVEN),
                **servers,
                "SHUTLINE_DATA_DIR": str(folder),
                "SHUTLINE_ALIVE_DIR": str(folder),
                "SHUTLINE_PHOTO_STORE": f"file://{folder}/photos",
            }
        )
        running = {}
        for part in PARTS:
            place = folder / part
            there = {
                **environment_of(part, GIVEN),
                **servers,
                "SHUTLINE_DATA_DIR": str(place),
                "SHUTLINE_ALIVE_DIR": str(place / "alive"),
                "SHUTLINE_PHOTO_STORE": f"file://{folder}/photos",
                "COMPOSED_PORT": str(port),
            }
            listening = ["--port", str(port)] if part == "web" else []
            arguments = [*OURS[part]["command"][1:], *listening]
            running[part] = stack.enter_context(Service(place, *arguments, environment=there))
            running[part].wait_until_ready()
        yield running


def healthy(service: Service, part: str) -> bool:
    """Return whether a container's own health check ends well, run as Compose runs it."""
    kind, program, *arguments = OURS[part]["healthcheck"]["test"]
    assert (kind, program) == ("CMD", "python")
    started = service.process.pid
    pairs = Path(f"/proc/{started}/environ").read_bytes().decode().split("\0")
    environment = dict(pair.split("=", 1) for pair in pairs if pair)
    asked = [word.replace(":8000/", f":{environment['COMPOSED_PORT']}/") for word in arguments]
    done = subprocess.run(
        [sys.executable, *asked],
        cwd=ROOT,
        env=environment,
        capture_output=True,
        check=False,
        timeout=PATIENCE_SECONDS,
    )
    return done.returncode == 0


@pytest.mark.servers
def test_each_part_becomes_healthy_by_the_commands_that_stand_there(
    containers: dict[str, Service],
) -> None:
    for part in PARTS:
        wait_until(lambda part=part: healthy(containers[part], part), f"a healthy {part}")  # type: ignore[misc]
    assert [part for part in PARTS if not healthy(containers[part], part)] == []


@pytest.mark.servers
def test_a_part_that_does_nothing_any_more_is_not_healthy(containers: dict[str, Service]) -> None:
    for part in PARTS:
        wait_until(lambda part=part: healthy(containers[part], part), f"a healthy {part}")  # type: ignore[misc]
    # The workers' first processes only: their children may still end what they are at.
    for part in ("notices", "work", "beat"):
        freeze(containers[part], part)
    containers["web"].stop(signal.SIGTERM)
    assert name_of(containers["web"].process.pid) == ""
    for part in ("notices", "work", "beat"):
        wait_until(lambda part=part: not healthy(containers[part], part), f"an ill {part}")  # type: ignore[misc]


def test_a_backup_is_made_each_day_and_old_ones_go(tmp_path: Path) -> None:
    """The schedule as it stands there, with the command itself put in place of by a script."""
    service = OURS["backup"]
    (script,) = service["command"]
    assert service["entrypoint"] == ["/bin/sh", "-c"]
    programs, backups = tmp_path / "bin", tmp_path / "backups"
    programs.mkdir()
    old = backups / "20270101T020000Z"
    old.mkdir(parents=True)
    subprocess.run(["touch", "-d", "20 days ago", old], check=True)
    answer = programs / "python"
    answer.write_text(f'#!/bin/sh\necho "$@" >> {shlex.quote(str(tmp_path))}/asked\nmkdir "$3"\n')
    pause = programs / "sleep"
    pause.write_text(f'#!/bin/sh\necho "$@" >> {shlex.quote(str(tmp_path))}/slept\nkill $PPID\n')
    for program in (answer, pause):
        program.chmod(0o755)
    environment = {"PATH": f"{programs}:/usr/bin:/bin", "BACKUPS": str(backups)}
    subprocess.run(
        [*service["entrypoint"], interpolated(script, {})],
        env=environment,
        check=False,
        timeout=PATIENCE_SECONDS,
    )
    assert (tmp_path / "slept").read_text() == "86400\n"
    (made,) = (path for path in backups.iterdir() if path.is_dir())
    assert re.fullmatch(r"\d{8}T\d{6}Z", made.name)
    assert (tmp_path / "asked").read_text() == f"manage.py backup {made}\n"
    kind, check = service["healthcheck"]["test"]
    assert kind == "CMD-SHELL"
    check = check.replace("/backups", str(backups))
    assert subprocess.run(["/bin/sh", "-c", check], check=False).returncode == 0
    subprocess.run(["touch", "-d", "2 days ago", backups / "last"], check=True)
    assert subprocess.run(["/bin/sh", "-c", check], check=False).returncode != 0
