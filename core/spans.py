"""The spans themselves, by OpenTelemetry's SDK; imported where `core.tracing` is on.

All that can be set (where to, headers, sampling, batches) is read by the SDK from its standard
variables. Attributes hold routes, ids and codes: no address as it was sent, no name, no text.
Django's and Celery's ready-made instrumentations are not used: the one keeps whole addresses, with
the tokens of links in them, the other follows messages, which here are wake-ups for everybody.
"""

import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from functools import cache
from threading import Thread

from opentelemetry import trace as api
from opentelemetry.exporter.otlp.proto.http.trace_exporter import OTLPSpanExporter
from opentelemetry.sdk.resources import SERVICE_NAME, Resource
from opentelemetry.sdk.trace import TracerProvider
from opentelemetry.sdk.trace.export import BatchSpanProcessor
from opentelemetry.trace.propagation.tracecontext import TraceContextTextMapPropagator
from structlog.contextvars import bind_contextvars

from core.tracing import Span

PARENT = "traceparent"  # the name of W3C Trace Context
OUR_FAULT = 500
LAST_SECONDS = 2.0
_propagator = TraceContextTextMapPropagator()


@cache
def provider() -> TracerProvider:
    """Return this process's provider, made with the first span; it sends from its own thread."""
    named = os.environ.get("OTEL_SERVICE_NAME") or SERVICE_NAME in os.environ.get(
        "OTEL_RESOURCE_ATTRIBUTES", ""
    )
    resource = Resource.create({} if named else {SERVICE_NAME: "shutline"})
    made = TracerProvider(resource=resource, shutdown_on_exit=False)  # `end` does, and waits less
    made.add_span_processor(BatchSpanProcessor(OTLPSpanExporter()))
    return made


class RealSpan(Span):
    """A span that is kept."""

    def __init__(self, span: api.Span) -> None:
        self.span = span

    def answered(self, *, route: str, status: int) -> None:
        method = self.span.attributes["http.request.method"]  # type: ignore[attr-defined]  # the SDK's
        self.span.update_name(f"{method} {route}")
        self.span.set_attributes({"http.route": route, "http.response.status_code": status})
        if status >= OUR_FAULT:
            self.span.set_status(api.StatusCode.ERROR)

    def ended(self, *, status: int | None, reason: str) -> None:
        if status is not None:
            self.span.set_attribute("http.response.status_code", status)
        if reason:
            self.span.set_attribute("error.type", reason)
            self.span.set_status(api.StatusCode.ERROR)


@contextmanager
def request_span(method: str) -> Iterator[Span]:
    """Open a span of its own trace, as the present one; log lines have the trace's id."""
    tracer = provider().get_tracer("shutline")
    with tracer.start_as_current_span(
        method, kind=api.SpanKind.SERVER, attributes={"http.request.method": method}
    ) as span:
        bind_contextvars(trace_id=f"{span.get_span_context().trace_id:032x}")
        yield RealSpan(span)


@contextmanager
def attempt_span(name: str, trace: str, about: Mapping[str, str | int]) -> Iterator[Span]:
    """Open a span in the trace given; many are open at once, so none is the present one."""
    context = _propagator.extract({PARENT: trace}) if trace else None
    tracer = provider().get_tracer("shutline")
    span = tracer.start_span(
        name, context=context, kind=api.SpanKind.CLIENT, attributes=dict(about)
    )
    try:
        yield RealSpan(span)
    finally:
        span.end()


def here() -> str:
    """Return the present span as W3C Trace Context writes it; empty where there is none."""
    carrier: dict[str, str] = {}
    _propagator.inject(carrier)
    return carrier.get(PARENT, "")


def end() -> None:
    """Send what is left; a collector that does not answer keeps nobody from stopping."""
    if provider.cache_info().currsize:
        sending = Thread(target=provider().shutdown, name="spans", daemon=True)
        sending.start()
        sending.join(LAST_SECONDS)
