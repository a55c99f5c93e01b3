"""Settings from the environment: what is read, what is refused, and what the operator is told."""

import os
import re
import runpy
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest
from cryptography.fernet import Fernet

from core.env import NOT_SETTINGS, PREFIX, BadSetting, Environment
from core.local_keys import field_key, signing_key
from tests.patience import PATIENCE_SECONDS

ROOT = Path(__file__).resolve().parents[2]
SETTINGS = ROOT / "core" / "settings.py"
# Every variable that is refused by itself: a value that cannot be used, and the check's id.
REFUSED = [
    ("SHUTLINE_DEBUG", "perhaps", "core.E001"),
    ("SHUTLINE_PUBLIC_URL", "ftp://fernhollow.example", "core.E002"),
    ("SHUTLINE_WEB_PROCESSES", "0", "core.E003"),
    ("SHUTLINE_WEB_THREADS", "many", "core.E004"),
    ("SHUTLINE_REQUESTS_PER_MINUTE", "-1", "core.E005"),
    ("SHUTLINE_IDEMPOTENCY_HOURS", "1.5", "core.E006"),
    ("DATABASE_URL", "carrier-pigeon://loft", "core.E007"),
    ("CELERY_BROKER_URL", "redis://broker.example:port", "core.E008"),
    ("SHUTLINE_SWEEP_SECONDS", "301", "core.E009"),
    ("SHUTLINE_DELIVERY_TIMEOUT_SECONDS", "31", "core.E010"),
    ("SHUTLINE_DELIVERY_LEASE_SECONDS", "1", "core.E011"),
    ("SHUTLINE_DELIVERY_CONCURRENCY", "1001", "core.E012"),
    ("SHUTLINE_ENDPOINT_CONCURRENCY", "101", "core.E013"),
    ("SHUTLINE_RETRY_SECONDS", "5,soon", "core.E014"),
    ("SHUTLINE_WARN_AFTER_HOURS", "0", "core.E015"),
    ("SHUTLINE_DISABLE_AFTER_HOURS", "2001", "core.E016"),
    ("SHUTLINE_ALLOW_PLAIN_HTTP", "2", "core.E017"),
    ("SHUTLINE_OPEN_NETWORKS", "10.20.0.1/16", "core.E018"),
    ("SHUTLINE_EMAIL_URL", "smtp://post.example:port", "core.E019"),
    ("SHUTLINE_LOG_FORMAT", "xml", "core.E020"),
    ("SHUTLINE_LOG_LEVEL", "LOUD", "core.E021"),
    ("SHUTLINE_DATA_DIR", "/dev/null/below", "core.E022"),
    ("SHUTLINE_PHOTO_LIMIT_MB", "0", "core.E023"),
    ("SHUTLINE_PHOTO_LINK_HOURS", "0", "core.E024"),
    ("SHUTLINE_PHOTO_STORE", "ftp://bucket", "core.E025"),
    ("SHUTLINE_REQUEST_SECONDS", "61", "core.E040"),
    ("SHUTLINE_BODIES_MEMORY_MB", "8", "core.E041"),
    ("SHUTLINE_METRICS_LISTEN", "9100", "core.E042"),
    ("SHUTLINE_METRICS_NETWORKS", "10.20.0.1/16", "core.E043"),
    ("SHUTLINE_TRUSTED_PROXIES", "10.20.0.1/16", "core.E044"),
    ("SHUTLINE_UNDO_SECONDS", "61", "core.E045"),
    ("SHUTLINE_STOP_SECONDS", "9", "core.E046"),
    ("SHUTLINE_LOG_LEVLE", "WARNING", "core.E047"),
    ("SHUTLINE_NOTICES_PROCESSES", "0", "core.E060"),
    ("SHUTLINE_WORK_PROCESSES", "65", "core.E061"),
    ("SHUTLINE_ALIVE_DIR", "/dev/null/below", "core.E062"),
    ("SHUTLINE_WEB_CONNECTIONS", "none", "core.E063"),
    ("SHUTLINE_PRODUCTION", "perhaps", "core.E064"),
    ("SHUTLINE_KEEP_DAYS", "pictures=90,paint=3", "core.E050"),
    ("SHUTLINE_TIME_ZONE", "Fernhollow/Yard", "core.E030"),
]


@pytest.fixture
def clean_environment(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> pytest.MonkeyPatch:
    for name in list(os.environ):
        if name.startswith("SHUTLINE_") or name in {"DATABASE_URL", "CELERY_BROKER_URL"}:
            monkeypatch.delenv(name)
    monkeypatch.setenv("SHUTLINE_DATA_DIR", str(tmp_path))
    return monkeypatch


def bad_settings() -> list[BadSetting]:
    """Read the settings afresh from the present environment."""
    loaded: list[BadSetting] = runpy.run_path(str(SETTINGS))["BAD_SETTINGS"]
    return loaded


def test_the_default_environment_is_good(clean_environment: pytest.MonkeyPatch) -> None:
    del clean_environment
    assert bad_settings() == []


@pytest.mark.parametrize(("name", "value", "code"), REFUSED)
def test_a_bad_value_is_named_with_its_id_and_a_hint(
    clean_environment: pytest.MonkeyPatch, name: str, value: str, code: str
) -> None:
    clean_environment.setenv(name, value)
    (bad,) = bad_settings()
    assert (bad.code, bad.name) == (code, name)
    assert bad.message.startswith(f"{name} ")
    assert bad.message.endswith(".")
    assert bad.hint.endswith(".")


def test_no_setting_is_left_out_of_the_list_above() -> None:
    used = set(re.findall(r'"(core\.E\d{3})"', SETTINGS.read_text(encoding="utf-8")))
    assert used == {code for _, _, code in REFUSED}


def test_every_setting_is_read_from_a_variable_of_ours() -> None:
    read = set(re.findall(r'env\.\w+\(\s*"([A-Z_]+)"', SETTINGS.read_text(encoding="utf-8")))
    foreign = {name for name in read if not name.startswith("SHUTLINE_")}
    assert foreign == {"DATABASE_URL", "CELERY_BROKER_URL"}


def manage_check(tmp_path: Path, **variables: str) -> subprocess.CompletedProcess[str]:
    """Run the system checks as an operator does."""
    kept = {name: os.environ[name] for name in ("PATH", "HOME") if name in os.environ}
    return subprocess.run(
        [sys.executable, "manage.py", "check"],
        cwd=ROOT,
        env={**kept, "SHUTLINE_DATA_DIR": str(tmp_path), **variables},
        capture_output=True,
        text=True,
        check=False,
        timeout=PATIENCE_SECONDS,
    )


def test_manage_py_names_every_bad_value_at_once(tmp_path: Path) -> None:
    done = manage_check(tmp_path, **{name: value for name, value, _ in REFUSED})
    assert done.returncode == 1
    assert "Traceback" not in done.stderr
    missing = [code for _, _, code in REFUSED if f"({code})" not in done.stderr]
    assert missing == []
    assert done.stderr.count("HINT:") == len(REFUSED)


def test_manage_py_finds_nothing_wrong_by_default(tmp_path: Path) -> None:
    done = manage_check(tmp_path)
    assert (done.returncode, done.stderr) == (0, "")
    assert "no issues" in done.stdout


def test_a_misspelt_setting_stops_the_service_and_the_right_name_is_said(tmp_path: Path) -> None:
    kept = {name: os.environ[name] for name in ("PATH", "HOME") if name in os.environ}
    mistaken = {"SHUTLINE_FIELD_KEY": "seventeen-buckets", "SHUTLINE_METRIC_LISTEN": "host:1"}
    done = subprocess.run(
        [sys.executable, "manage.py", "serve", "--port", "0"],
        cwd=ROOT,
        env={**kept, "SHUTLINE_DATA_DIR": str(tmp_path), **mistaken},
        capture_output=True,
        text=True,
        check=False,
        timeout=PATIENCE_SECONDS,
    )
    assert done.returncode == 1
    assert "SHUTLINE_FIELD_KEY is not a setting." in done.stderr
    assert "Write SHUTLINE_FIELD_KEYS, or remove it." in done.stderr
    assert "Write SHUTLINE_METRICS_LISTEN, or remove it." in done.stderr
    assert "seventeen-buckets" not in done.stderr + done.stdout
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    ("name", "hint"),
    [
        ("SHUTLINE_UNDO_SECOND", "Write SHUTLINE_UNDO_SECONDS, or remove it."),
        ("shutline_undo_seconds", "Write SHUTLINE_UNDO_SECONDS, or remove it."),
        ("SHUTLINE_XYLOPHONE_BRAZIL_QUUX_VOWEL", "Remove it."),
    ],
)
def test_a_name_that_nothing_reads_is_refused_with_the_nearest_one(name: str, hint: str) -> None:
    env = reading(**{name: "5", "HOME": "/home", "SHUTLINE_PORT": "8000"})
    env.whole("SHUTLINE_UNDO_SECONDS", "x", 10, low=0, high=60)
    env.flag("SHUTLINE_DEBUG", "x")
    env.refuse_unknown("y")
    (bad,) = env.bad
    assert (bad.code, bad.name, bad.message) == ("y", name, f"{name} is not a setting.")
    assert bad.hint == f"{hint} README lists the settings."


def test_a_flag_that_is_set_is_known() -> None:
    env = reading(SHUTLINE_DEBUG="1")
    env.flag("SHUTLINE_DEBUG", "x")
    env.refuse_unknown("y")
    assert env.bad == []


def test_every_variable_that_is_written_down_is_known_to_somebody() -> None:
    """README's table is all there is: none in it is unknown, none that is read is left out."""
    read: Environment = runpy.run_path(str(SETTINGS))["env"]
    ours = {name for name in read.read if name.startswith(PREFIX)}
    table = (ROOT / "README.md").read_text(encoding="utf-8").partition("### Settings")[2]
    assert set(re.findall(r"SHUTLINE_[A-Z_]+", table)) == ours - {"SHUTLINE_DEBUG"}
    compose = (ROOT / "docker-compose.yml").read_text(encoding="utf-8")
    assert set(re.findall(r"SHUTLINE_[A-Z_]+", compose)) <= ours | NOT_SETTINGS


def reading(**values: str) -> Environment:
    """Return the readers over these variables alone."""
    return Environment(values)


@pytest.mark.parametrize("word", ["1", "true", "YES", " on "])
def test_a_yes_is_read_in_many_spellings(word: str) -> None:
    assert reading(A=word).flag("A", "x") is True


@pytest.mark.parametrize("word", ["0", "false", "No", "off", ""])
def test_a_no_is_read_in_many_spellings(word: str) -> None:
    assert reading(A=word).flag("A", "x", default=True) is False


def test_an_unset_flag_keeps_its_default() -> None:
    assert reading().flag("A", "x", default=True) is True


def test_an_empty_variable_counts_as_unset() -> None:
    env = reading(A="  ", B="")
    assert env.text("A", "default") == "default"
    assert env.whole("B", "x", 7, low=1, high=9) == 7
    assert env.bad == []


def test_a_list_drops_what_is_empty() -> None:
    assert reading(A=" a, ,b,").words("A") == ["a", "b"]


@pytest.mark.parametrize("number", [1, 9])
def test_a_whole_number_may_be_at_either_end(number: int) -> None:
    env = reading(A=str(number))
    assert env.whole("A", "x", 5, low=1, high=9) == number
    assert env.bad == []


@pytest.mark.parametrize("word", ["0", "10", "4.5", "five", "1e1"])
def test_a_whole_number_outside_is_refused_and_the_default_taken(word: str) -> None:
    env = reading(A=word)
    assert env.whole("A", "x", 5, low=1, high=9) == 5
    assert [bad.code for bad in env.bad] == ["x"]
    assert "1 to 9" in env.bad[0].hint


def test_waiting_times_are_read_in_order() -> None:
    assert reading(A="0, 5,2.5").seconds("A", "x", "1") == (0.0, 5.0, 2.5)


@pytest.mark.parametrize("word", ["-1", "nan", "inf", "5;6", ","])
def test_waiting_times_that_are_none_are_refused(word: str) -> None:
    env = reading(A=word)
    assert env.seconds("A", "x", "1,2") == (1.0, 2.0)
    assert len(env.bad) == 1


def test_each_bad_network_is_named_and_the_good_ones_kept() -> None:
    env = reading(A="10.20.0.0/16,garage,fd12::/48,300.0.0.0/8")
    assert env.networks("A", "x") == ("10.20.0.0/16", "fd12::/48")
    assert ["garage" in env.bad[0].message, "300.0.0.0/8" in env.bad[1].message] == [True, True]


@pytest.mark.parametrize(
    "word",
    ["http://", "https://:8000", "http://[::1", "http://host:99999", "http://host:0", "host:80"],
)
def test_an_address_without_a_whole_host_and_port_is_refused(word: str) -> None:
    env = reading(A=word)
    assert env.url("A", "x", "http://kept.example", schemes=("http", "https")) == (
        "http://kept.example"
    )
    assert len(env.bad) == 1


@pytest.mark.parametrize(
    ("word", "schemes"),
    [
        ("sqlite:///yard.sqlite3", ("sqlite",)),
        ("filesystem://", ("filesystem",)),
        ("postgres:///shutline", ("postgres",)),
        ("http://[::1]:8000", ("http",)),
    ],
)
def test_an_address_that_needs_no_host_is_taken(word: str, schemes: tuple[str, ...]) -> None:
    env = reading(A=word)
    assert env.url("A", "x", "none", schemes=schemes) == word
    assert env.bad == []


@pytest.mark.parametrize("word", ["Nowhere/Yard", "../etc/passwd", "Europe", "/etc/localtime"])
def test_a_zone_this_machine_does_not_know_is_refused(word: str) -> None:
    env = reading(A=word)
    assert env.zone("A", "x", "Europe/London") == "Europe/London"
    assert len(env.bad) == 1


def test_a_folder_is_made_for_its_owner_only_where_it_is_not_there_yet(tmp_path: Path) -> None:
    env = reading(A=str(tmp_path / "deep" / "down"))
    folder = env.folder("A", "x", tmp_path)
    assert folder.is_dir()
    assert folder.stat().st_mode & 0o777 == 0o700
    assert env.bad == []


def test_nothing_is_written_in_place_of_a_folder_that_cannot_be_used(tmp_path: Path) -> None:
    file, default = tmp_path / "file", tmp_path / "default"
    file.touch()
    env = reading(A=str(file))
    assert env.folder("A", "x", default) not in {file, default}
    assert not default.exists()
    assert [bad.code for bad in env.bad] == ["x"]


@pytest.mark.parametrize("word", ["", "file://{}/yard%20photos"])
def test_a_folder_is_a_store(tmp_path: Path, word: str) -> None:
    env = reading(A=word.format(tmp_path))
    store = env.store("A", "x", tmp_path / "photos")
    assert store["BACKEND"] == "core.stores.FolderStore"
    location = Path(store["OPTIONS"]["location"])
    assert location == tmp_path / ("yard photos" if word else "photos")
    assert location.is_dir() is bool(word)  # the usual one is made with the first file
    assert env.bad == []


@pytest.mark.parametrize(
    ("word", "options"),
    [
        ("s3://yard-photos", (None, None)),
        ("s3://yard.photos/?region=eu-west-2", ("eu-west-2", None)),
        (
            "s3://yard?endpoint=https://store.example:9000&region=home",
            ("home", "https://store.example:9000"),
        ),
        ("s3://yard?endpoint=http%3A%2F%2F127.0.0.1%3A9000", (None, "http://127.0.0.1:9000")),
    ],
)
def test_a_bucket_is_a_store(word: str, options: tuple[str | None, str | None]) -> None:
    env = reading(A=word)
    store = env.store("A", "x", Path("/unused"))
    assert store["BACKEND"] == "core.buckets.BucketStore"
    assert store["OPTIONS"]["bucket_name"] == word[5:].partition("?")[0].strip("/")
    assert (store["OPTIONS"]["region_name"], store["OPTIONS"]["endpoint_url"]) == options
    assert env.bad == []


@pytest.mark.parametrize(
    "word",
    [
        *("photos", "file:photos", "file://photos", "file:///dev/null/below", "file:///a%00b"),
        *("s3://", "s3://Yard", "s3://y", "s3:///yard", "s3://yard/below", "s3://key:secret@yard"),
        *("s3://yard?endpoint=", "s3://yard?endpoint=store.example", "s3://yard?region="),
        *("s3://yard?endpoint=ftp://store.example", "s3://yard?endpoint=http://[::1"),
        *("s3://yard?endpoint=http://h:0", "s3://yard?colur=grey", "s3://yard#x", "s3://[yard"),
    ],
)
def test_a_store_that_is_none_is_refused(tmp_path: Path, word: str) -> None:
    env = reading(A=word)
    store = env.store("A", "x", tmp_path)
    assert store["OPTIONS"] == {"location": str(tmp_path)}
    assert [bad.code for bad in env.bad] == ["x"]
    assert "secret" not in env.bad[0].message


def test_a_local_key_stays_the_same_and_is_for_its_owner_only(tmp_path: Path) -> None:
    first = field_key(tmp_path)
    Fernet(first)
    assert field_key(tmp_path) == first
    assert signing_key(tmp_path) != first
    modes = {path.name: path.stat().st_mode & 0o777 for path in tmp_path.iterdir()}
    assert modes == {"field.key": 0o600, "signing.key": 0o600}


def test_processes_that_start_together_agree_on_the_local_key(tmp_path: Path) -> None:
    def make(number: int) -> list[str]:
        return [signing_key(tmp_path / str(step)) for step in range(50)] if number else []

    with ThreadPoolExecutor(8) as pool:
        answers: list[Any] = [found for found in pool.map(make, range(9)) if found]
    assert all(answer == answers[0] for answer in answers)
    assert "" not in answers[0]
