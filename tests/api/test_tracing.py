"""Traces are off, and cost nothing, unless a collector is named; then what they need is checked."""

import os
import subprocess
import sys
from importlib.metadata import PackageNotFoundError
from pathlib import Path

import pytest
from django.core.checks import run_checks

from core import checks, tracing
from tests.patience import PATIENCE_SECONDS

ROOT = Path(__file__).resolve().parents[2]
COLLECTOR = "http://127.0.0.1:4318"
LOAD = """
import sys
import django
django.setup()
import core.serving.web, notifications.engine.run, notifications.tasks
from core.tracing import attempt_span, here, request_span
with request_span("GET") as span, attempt_span("notice", "", {}) as other:
    span.answered(route="/", status=200)
    other.ended(status=None, reason="tls")
    print(here() or "no trace", any(name.startswith("opentelemetry") for name in sys.modules))
from core.tracing import end
end()
"""


def printed(tmp_path: Path, **variables: str) -> str:
    """Return what a program prints that loads the web server and a worker's engine."""
    ours = ("OTEL_", "SHUTLINE_", "DJANGO_", "DATABASE_URL", "CELERY_")
    kept = {name: value for name, value in os.environ.items() if not name.startswith(ours)}
    settings = {"SHUTLINE_DATA_DIR": str(tmp_path), "DJANGO_SETTINGS_MODULE": "core.settings"}
    return subprocess.run(
        [sys.executable, "-c", LOAD],
        cwd=ROOT,
        env={**kept, **settings, **variables},
        stdout=subprocess.PIPE,
        text=True,
        check=True,
        timeout=PATIENCE_SECONDS,
    ).stdout.strip()


def test_without_a_collector_nothing_of_the_libraries_is_imported(tmp_path: Path) -> None:
    assert printed(tmp_path) == "no trace False"


def test_with_one_a_request_has_a_trace_that_a_notice_can_carry(tmp_path: Path) -> None:
    ended_at_once = {"OTEL_EXPORTER_OTLP_ENDPOINT": "http://127.0.0.1:9", "OTEL_TRACES_SAMPLER": ""}
    trace, imported = printed(tmp_path, **ended_at_once).split()
    assert imported == "True"
    version, trace_id, span_id, _flags = trace.split("-")
    assert (version, len(trace_id), len(span_id)) == ("00", 32, 16)
    assert len(trace) == 55  # as long as the column


@pytest.mark.parametrize(
    ("environ", "on"),
    [
        ({}, False),
        ({"OTEL_EXPORTER_OTLP_ENDPOINT": ""}, False),
        ({"OTEL_EXPORTER_OTLP_ENDPOINT": COLLECTOR}, True),
        ({"OTEL_EXPORTER_OTLP_TRACES_ENDPOINT": f"{COLLECTOR}/v1/traces"}, True),
        ({"OTEL_EXPORTER_OTLP_ENDPOINT": COLLECTOR, "OTEL_SDK_DISABLED": "true"}, False),
    ],
)
def test_traces_are_made_where_the_standard_variables_say_so(
    environ: dict[str, str],
    on: bool,  # noqa: FBT001  a parameter of pytest
) -> None:
    assert tracing.wanted(environ) is on


def ids() -> list[str]:
    return [found.id for found in run_checks() if found.id in {"core.E036", "core.E037"}]


def test_a_collector_without_the_library_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    def missing(name: str) -> str:
        raise PackageNotFoundError(name)

    monkeypatch.setattr(checks, "version", missing)
    assert ids() == []
    monkeypatch.setenv("OTEL_EXPORTER_OTLP_ENDPOINT", COLLECTOR)
    (found,) = [found for found in run_checks() if found.id == "core.E036"]
    assert "pip install 'shutline[traces]'" in str(found.hint)


def test_a_protocol_that_is_not_spoken_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("OTEL_EXPORTER_OTLP_ENDPOINT", COLLECTOR)
    assert ids() == []
    monkeypatch.setenv("OTEL_EXPORTER_OTLP_PROTOCOL", "grpc")
    assert ids() == ["core.E037"]
