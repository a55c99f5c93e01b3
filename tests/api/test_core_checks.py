"""The system checks: each bad setting gets an error with its id and what to write instead."""

import re
import secrets
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from cryptography.fernet import Fernet
from django.conf import settings as django_settings
from django.core import checks
from django.core.checks import CheckMessage, Error, run_checks
from pytest_django import Settings

from core.env import BUCKET_STORE, FOLDER_STORE, BadSetting
from tests.reliability.service import ROOT, clean_environment


def photographs_in(store: str) -> dict[str, Any]:
    """Return the stores of files, with photographs in this one."""
    return {**django_settings.STORAGES, "photos": {"BACKEND": store}}


GOOD: dict[str, Any] = {
    "BAD_SETTINGS": [],
    "CURRENCY": "GBP",
    "FIELD_KEYS": [Fernet.generate_key().decode()],
    "DELIVERY_TIMEOUT_SECONDS": 20,
    "DELIVERY_LEASE_SECONDS": 60,
    "WARN_AFTER_HOURS": 24,
    "DISABLE_AFTER_HOURS": 120,
    "ALLOW_PLAIN_HTTP": False,
    "PUBLIC_URL": "https://shutline.example",
    "METRICS_TOKEN": "",
    "PRODUCTION": False,
    "DEBUG": False,
    "EMAIL_BACKEND": "django.core.mail.backends.smtp.EmailBackend",
    "DATABASE_URL": "postgres://shutline@db.example/shutline",
    "CELERY_BROKER_URL": "redis://queue.example:6379/0",
    "STORAGES": photographs_in(BUCKET_STORE),
    "KEYS_GIVEN": True,
}
SERVERS = {
    "DATABASE_URL": "postgres://shutline@db.example/shutline",
    "CELERY_BROKER_URL": "redis://queue.example:6379/0",
    "SHUTLINE_SECRET_KEY": secrets.token_urlsafe(48),
    "SHUTLINE_FIELD_KEYS": Fernet.generate_key().decode(),
    "SHUTLINE_EMAIL_URL": "smtp+tls://mail.example:587",
    "SHUTLINE_PHOTO_STORE": "s3://photographs?endpoint=https://store.example",
}
MAIL_TO_FILES = "django.core.mail.backends.filebased.EmailBackend"


def found(settings: Settings, *, deploy: bool = False, **changes: Any) -> list[CheckMessage]:
    """Return what our checks say about good settings with these changes."""
    for name, value in {**GOOD, **changes}.items():
        setattr(settings, name, value)
    return [
        message
        for message in run_checks(include_deployment_checks=deploy)
        if str(message.id).startswith("core.")
    ]


def test_good_settings_raise_nothing(settings: Settings) -> None:
    assert found(settings, deploy=True) == []


def test_a_value_refused_by_the_readers_becomes_an_error(settings: Settings) -> None:
    bad = BadSetting("core.E999", "SHUTLINE_YARD", "SHUTLINE_YARD is muddy.", "Sweep it.")
    assert found(settings, BAD_SETTINGS=[bad]) == [
        Error("SHUTLINE_YARD is muddy.", hint="Sweep it.", id="core.E999")
    ]


@pytest.mark.parametrize(
    ("changes", "code", "names", "hint"),
    [
        ({"CURRENCY": "gbp"}, "core.E031", "SHUTLINE_CURRENCY", "ISO 4217"),
        ({"CURRENCY": "POUND"}, "core.E031", "SHUTLINE_CURRENCY", "ISO 4217"),
        ({"CURRENCY": "G8P"}, "core.E031", "SHUTLINE_CURRENCY", "ISO 4217"),
        (
            {"FIELD_KEYS": [*GOOD["FIELD_KEYS"], "short"]},
            "core.E032",
            "key number 2",
            "Fernet.generate_key",
        ),
        (
            {"DELIVERY_LEASE_SECONDS": 20},
            "core.E033",
            "SHUTLINE_DELIVERY_LEASE_SECONDS",
            "twice the time-out",
        ),
        (
            {"DISABLE_AFTER_HOURS": 24},
            "core.E034",
            "SHUTLINE_DISABLE_AFTER_HOURS",
            "warning must come first",
        ),
    ],
)
def test_a_setting_that_cannot_work_is_an_error_with_a_hint(
    settings: Settings, changes: dict[str, Any], code: str, names: str, hint: str
) -> None:
    (message,) = found(settings, **changes)
    assert isinstance(message, Error)
    assert message.id == code
    assert names in message.msg
    assert hint in str(message.hint)


def test_a_bad_key_is_never_printed(settings: Settings) -> None:
    (message,) = found(settings, FIELD_KEYS=["almost-a-secret"])
    assert "almost-a-secret" not in f"{message.msg} {message.hint}"


def test_plain_http_is_a_warning_before_going_live_only(settings: Settings) -> None:
    assert found(settings, ALLOW_PLAIN_HTTP=True) == []
    (message,) = found(settings, ALLOW_PLAIN_HTTP=True, deploy=True)
    assert isinstance(message, checks.Warning)
    assert message.id == "core.W001"
    assert "own network" in str(message.hint)


def test_going_live_without_tls_or_with_a_guessable_token_is_a_warning(settings: Settings) -> None:
    wrong: dict[str, Any] = {"PUBLIC_URL": "http://shutline.example", "METRICS_TOKEN": "short"}
    assert found(settings, **wrong) == []
    messages = sorted(found(settings, deploy=True, **wrong), key=lambda message: str(message.id))
    assert [message.id for message in messages] == ["core.W002", "core.W003"]
    assert "SHUTLINE_PUBLIC_URL=https://" in str(messages[0].hint)
    assert "short" not in f"{messages[1].msg} {messages[1].hint}"


def test_a_data_folder_that_others_can_open_is_a_warning(
    settings: Settings, tmp_path: Path
) -> None:
    tmp_path.chmod(0o755)
    (message,) = found(settings, deploy=True, DATA_DIR=tmp_path)
    assert message.id == "core.W004"
    assert f"chmod -R go-rwx {tmp_path}" in str(message.hint)


@pytest.mark.parametrize(
    ("changes", "code", "names"),
    [
        ({"EMAIL_BACKEND": MAIL_TO_FILES}, "core.W005", "SHUTLINE_EMAIL_URL"),
        ({"DATABASE_URL": "sqlite:////data/shutline.sqlite3"}, "core.W006", "DATABASE_URL"),
        ({"CELERY_BROKER_URL": "filesystem://"}, "core.W007", "CELERY_BROKER_URL"),
        (
            {"STORAGES": photographs_in(FOLDER_STORE)},
            "core.W008",
            "SHUTLINE_PHOTO_STORE",
        ),
        ({"KEYS_GIVEN": False}, "core.W009", "SHUTLINE_FIELD_KEYS"),
    ],
)
def test_what_only_one_machine_can_have_is_named_before_going_live(
    settings: Settings, changes: dict[str, Any], code: str, names: str
) -> None:
    assert found(settings, **changes) == []
    (message,) = found(settings, deploy=True, **changes)
    assert isinstance(message, checks.Warning)
    assert message.id == code
    assert names in f"{message.msg} {message.hint}"


@pytest.mark.parametrize(
    ("changes", "code"),
    [({"EMAIL_BACKEND": MAIL_TO_FILES}, "core.E065"), ({"DEBUG": True}, "core.E066")],
)
def test_production_refuses_what_is_for_trying_out(
    settings: Settings, changes: dict[str, Any], code: str
) -> None:
    assert found(settings, PRODUCTION=True) == []
    (message,) = found(settings, PRODUCTION=True, **changes)
    assert isinstance(message, Error)
    assert message.id == code


ONE_MACHINE = [f"core.W00{number}" for number in (5, 6, 7, 8, 9)]


@pytest.mark.parametrize(
    ("environment", "said"),
    [
        ({**SERVERS, "SHUTLINE_PUBLIC_URL": "https://shutline.example"}, []),
        ({**SERVERS, "SHUTLINE_PUBLIC_URL": "http://shutline.example"}, ["core.W002"]),
        ({"SHUTLINE_PUBLIC_URL": "https://shutline.example"}, ONE_MACHINE),
    ],
)
def test_the_deployment_check_says_nothing_but_what_to_set(
    tmp_path: Path, environment: dict[str, str], said: list[str]
) -> None:
    done = subprocess.run(
        [sys.executable, "manage.py", "check", "--deploy", "--fail-level", "WARNING"],
        cwd=ROOT,
        env={
            **clean_environment(),
            "SHUTLINE_DATA_DIR": str(tmp_path / "data"),
            "SHUTLINE_ALLOWED_HOSTS": "shutline.example",
            **environment,
        },
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == (1 if said else 0), done.stderr
    assert sorted(re.findall(r"\((\w+\.W\d+)\)", done.stderr)) == said
