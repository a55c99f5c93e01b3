"""A real collector of OpenTelemetry's spans for tests: OTLP over HTTP on 127.0.0.1."""

import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any, Self

from opentelemetry.proto.collector.trace.v1.trace_service_pb2 import ExportTraceServiceRequest
from opentelemetry.proto.trace.v1.trace_pb2 import Span


class Collector:
    """Start it with `with Collector() as collector:`; it keeps every span it is sent."""

    def __init__(self) -> None:
        self.spans: list[Span] = []
        self.services: set[str] = set()
        self.server = _Server(self)
        self._thread = threading.Thread(target=self.server.serve_forever)

    @property
    def url(self) -> str:
        """Return what OTEL_EXPORTER_OTLP_ENDPOINT is set to."""
        return f"http://127.0.0.1:{self.server.server_port}"

    def named(self, name: str) -> list[Span]:
        """Return the spans of that name that have come so far."""
        return [span for span in list(self.spans) if span.name == name]

    def take(self, body: bytes) -> None:
        """Keep what a program of the service sent."""
        for resource in ExportTraceServiceRequest.FromString(body).resource_spans:
            self.services |= {
                about.value.string_value
                for about in resource.resource.attributes
                if about.key == "service.name"
            }
            for scope in resource.scope_spans:
                self.spans += scope.spans

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.server.shutdown()
        self.server.server_close()
        self._thread.join()


class _Server(ThreadingHTTPServer):
    daemon_threads = True

    def __init__(self, collector: Collector) -> None:
        self.collector = collector
        super().__init__(("127.0.0.1", 0), _Handler)


class _Handler(BaseHTTPRequestHandler):
    server: _Server
    protocol_version = "HTTP/1.1"

    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers["Content-Length"]))
        if self.headers.get("Content-Encoding") == "gzip":
            raise ValueError("Nothing was asked to be compressed.")
        if self.path == "/v1/traces":
            self.server.collector.take(body)
        self.send_response(200 if self.path == "/v1/traces" else 404)
        self.send_header("Content-Length", "0")
        self.end_headers()

    def log_message(self, format: str, *args: Any) -> None:  # noqa: A002  the library's name
        """Write no line."""


def attributes(span: Span) -> dict[str, Any]:
    """Return what a span says of itself."""
    return {
        about.key: getattr(about.value, about.value.WhichOneof("value") or "string_value")
        for about in span.attributes
    }
