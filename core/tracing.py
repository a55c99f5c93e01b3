"""Traces by OpenTelemetry, from the request that caused a notice to the notice's arrival.

They are made where the standard OTEL_EXPORTER_OTLP_ENDPOINT is set. Elsewhere nothing of the
libraries is even imported (`core.spans` does that). A request continues no trace of its caller's:
whoever calls from outside would decide what is kept here.
"""

import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager

ENDPOINTS = ("OTEL_EXPORTER_OTLP_ENDPOINT", "OTEL_EXPORTER_OTLP_TRACES_ENDPOINT")
PACKAGE = "opentelemetry-exporter-otlp-proto-http"
PROTOCOL = "http/protobuf"


def wanted(environ: Mapping[str, str]) -> bool:
    """Return whether traces are to be made."""
    if environ.get("OTEL_SDK_DISABLED", "").strip().lower() == "true":
        return False
    return any(environ.get(name, "").strip() for name in ENDPOINTS)


ON = wanted(os.environ)


class Span:
    """What is said of one request or one attempt; this one is for where there are no traces."""

    def answered(self, *, route: str, status: int) -> None:
        """Say which route answered a request, and how."""

    def ended(self, *, status: int | None, reason: str) -> None:
        """Say how an attempt ended; an empty reason means that the notice arrived."""


NO_SPAN = Span()


@contextmanager
def request_span(method: str) -> Iterator[Span]:
    """Open the span of a request; what is written meanwhile knows it as `here`."""
    if not ON:
        yield NO_SPAN
        return
    from core import spans  # noqa: PLC0415  only where there are traces

    with spans.request_span(method) as span:
        yield span


@contextmanager
def attempt_span(name: str, trace: str, about: Mapping[str, str | int]) -> Iterator[Span]:
    """Open the span of an attempt to hand a notice over, within the trace it was caused in."""
    if not ON:
        yield NO_SPAN
        return
    from core import spans  # noqa: PLC0415  only where there are traces

    with spans.attempt_span(name, trace, about) as span:
        yield span


def here() -> str:
    """Return the trace that this is part of, as W3C Trace Context writes it; empty: of none."""
    if not ON:
        return ""
    from core import spans  # noqa: PLC0415  only where there are traces

    return spans.here()


def end() -> None:
    """Send what is left before this process ends."""
    if ON:
        from core import spans  # noqa: PLC0415  only where there are traces

        spans.end()
