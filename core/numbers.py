"""The numbers for Prometheus: how many requests, how long they took, and who may read them.

Few on purpose: a scrape every few seconds is stored for months. A view is counted by how it ended
(2xx to 5xx) and by the seconds it took in all; only the whole service has a histogram.
"""

import ipaddress
import os
import time
from collections.abc import Callable
from pathlib import Path

from django.conf import settings
from django.http import HttpRequest, HttpResponseBase
from django.utils.crypto import constant_time_compare
from prometheus_client import (
    REGISTRY,
    CollectorRegistry,
    Counter,
    Histogram,
    disable_created_metrics,
    generate_latest,
)
from prometheus_client.registry import Collector

from core.numbers_folder import VARIABLE, added_up, alone, keep_of_ended

# Half of the lines would say when each number began, which no query asks for.
disable_created_metrics()  # type: ignore[no-untyped-call]

NO_VIEW = "none"
READY = "ready"
BUCKETS = (0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0)
ANSWERED = Counter(
    "shutline_requests", "Requests answered, by view and first digit.", ["view", "ended"]
)
# Of all views but READY, whose 503 is no failure; there from the start, so that an alert sees the
# first increase, which a number that begins with its first failure does not have.
ENDED = Counter("shutline_answers", "Answers but for /readyz, by first digit.", ["ended"])
ENDS = tuple(f"{digit}xx" for digit in range(1, 6))
for _end in ENDS:
    ENDED.labels(_end)
SECONDS = Counter("shutline_request_seconds", "Seconds that a view's requests took.", ["view"])
LATENCY = Histogram("shutline_request_latency_seconds", "Seconds a request took.", buckets=BUCKETS)


class NumbersMiddleware:
    """Counts each request when it has been answered."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        began = time.perf_counter()
        response = self.get_response(request)
        took = time.perf_counter() - began
        view = view_of(request)
        ended = f"{response.status_code // 100}xx"
        ANSWERED.labels(view, ended).inc()
        if view != READY:
            ENDED.labels(ended).inc()
        SECONDS.labels(view).inc(took)
        LATENCY.observe(took)
        return response


def view_of(request: HttpRequest) -> str:
    """Return the view's name; the operator's pages share one, and so does whatever has none."""
    match = request.resolver_match
    if match is None:
        return NO_VIEW
    if match.namespaces:
        return match.namespaces[0]
    if match.view_name and "." not in match.view_name:
        return match.view_name
    view = getattr(match.func, "view_class", None) or getattr(match.func, "cls", None)
    return str(getattr(view or match.func, "__name__", NO_VIEW))


def text(*extra: Collector, folder: Path | None = None) -> bytes:
    """Return what this service's programs counted, and the extra numbers, as Prometheus reads it.

    folder is where they count together; None: where this process does, or else what it counted
    by itself.
    """
    named = os.environ.get(VARIABLE)
    folder = folder or (Path(named) if named else None)
    if folder is None:
        counted = generate_latest(REGISTRY)
    else:
        with alone(folder):
            keep_of_ended(folder)
            counted = generate_latest(added_up(folder))
    more = CollectorRegistry(auto_describe=False)
    for collector in extra:
        more.register(collector)
    return counted + generate_latest(more)


def bears_token(authorization: str) -> bool:
    """Return whether an Authorization header has the token for the numbers, where there is one."""
    scheme, _, token = authorization.partition(" ")
    wanted = settings.METRICS_TOKEN
    right = constant_time_compare(token.strip(), wanted)
    return bool(wanted) and scheme.lower() == "bearer" and right


def is_near(address: str) -> bool:
    """Return whether an address may read the numbers without a token: it is in a named network."""
    try:
        peer = ipaddress.ip_address(address)
    except ValueError:
        return False
    mapped = getattr(peer, "ipv4_mapped", None)
    networks = map(ipaddress.ip_network, settings.METRICS_NETWORKS)
    return any((mapped or peer) in network for network in networks)
