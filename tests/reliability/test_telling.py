"""What a running service tells its operator: logs, numbers and traces, of every program it has.

One service for all of it. People, cars and secrets are named wherever a caller can name them, and
none of it may stand in what the service writes.
"""

import http.client
import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import partial
from itertools import count
from typing import Any
from urllib.parse import urlsplit

import pytest

from core.serving.parts import NAMES
from tests.notifications.receiver import Receiver, Reply
from tests.patience import PATIENCE_SECONDS
from tests.reliability.collector import Collector, attributes
from tests.reliability.service import wait_until
from tests.reliability.test_serve import free_place
from tests.reliability.world import FORMS, World, founded

NAME, EMAIL, TELEPHONE = "Odile Farrant", "odile.farrant@brackmoor.example", "01632 960147"
MARK, PASSWORD, TOKEN = "TU21 ABC", "seventeen-wet-buckets", "AZEbLDxNeo." + "x" * 43
PRIVATE = (
    *(NAME, "Odile", "Farrant", EMAIL, "brackmoor.example", TELEPHONE, "960147", MARK, "TU21ABC"),
    *("TU21%20ABC", PASSWORD, TOKEN, "out-to-lunch", "Brackmoor"),
)
GOOD, BAD = "/good", "/bad-out-to-lunch"
ROUTE = "/api/v1/work-orders"
FAIL = """
import django
django.setup()
from tests.reliability.faults.tasks import die, fail
print(fail.delay().id, die.delay().id)
"""


@dataclass(slots=True)
class Played:
    """A service in which a day was played, with all that came out of it."""

    world: World
    collector: Collector
    receiver: Receiver
    places: dict[str, str]
    asked: list[tuple[str, str, str, int]] = field(default_factory=list)
    numbers: Iterator[int] = field(default_factory=count)
    tasks: list[str] = field(default_factory=list)
    endpoints: dict[str, str] = field(default_factory=dict)
    job: str = ""

    def ask(
        self,
        method: str,
        path: str,
        route: str,
        data: Any = None,
        headers: dict[str, str] | None = None,
    ) -> Any:
        """Send a request under an id of its own, and return what came back as JSON."""
        at = urlsplit(self.world.url)
        given = f"telling-{next(self.numbers):04d}"
        link = http.client.HTTPConnection(str(at.hostname), at.port, timeout=PATIENCE_SECONDS)
        body = None if data is None else json.dumps(data)
        kinds = {"Content-Type": "application/json", "X-Request-ID": given}
        link.request(method, path, body=body, headers={**kinds, **(headers or {})})
        answer = link.getresponse()
        said = answer.read()
        link.close()
        self.asked.append((given, method, route, answer.status))
        is_json = "json" in answer.headers.get("Content-Type", "")
        return json.loads(said) if is_json and said else None

    def dealer(self, method: str, path: str, route: str, data: Any = None) -> Any:
        """Send a request as the dealer's system."""
        return self.ask(method, path, route, data, {"Authorization": f"Bearer {self.world.key}"})

    def lines(self) -> list[dict[str, Any]]:
        """Return every line that any program has written, each of which is JSON."""
        return [json.loads(line) for line in self.text().splitlines()]

    def text(self) -> str:
        """Return what all programs wrote."""
        services = {id(service): service for service in self.world.services.values()}
        return "".join(service.errors.read_text() for service in services.values())

    def mentions(self, word: str) -> bool:
        """Return whether a word stands in what any program wrote."""
        return word in self.text()

    def scrape(self, part: str) -> str:
        """Return the numbers where a part gives them."""
        link = http.client.HTTPConnection(self.places[part], timeout=PATIENCE_SECONDS)
        link.request("GET", "/metrics")
        answer = link.getresponse()
        assert answer.status == 200
        text = answer.read().decode()
        link.close()
        return text

    def figure(self, part: str, line: str) -> float:
        """Return one figure, 0 where there is none."""
        shown = [row for row in self.scrape(part).splitlines() if row.startswith(f"{line} ")]
        return float(shown[0].rpartition(" ")[2]) if shown else 0.0


@pytest.fixture(scope="module", params=FORMS)
def played(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Played]:
    """Play a day in which everything is told that may not be."""
    folder = tmp_path_factory.mktemp("telling")
    with Receiver() as receiver, Collector() as collector:
        changes = {
            "DJANGO_SETTINGS_MODULE": "tests.reliability.faults.settings",
            "OTEL_EXPORTER_OTLP_ENDPOINT": collector.url,
            "OTEL_BSP_SCHEDULE_DELAY": "100",
            "SHUTLINE_RETRY_SECONDS": "0,1",
        }
        with founded(request.param, folder, **changes) as world:
            places = places_for(world)
            world.start()
            day = Played(world, collector, receiver, places)
            receiver.answer(BAD, Reply(status=500, body=f"{NAME}, {TELEPHONE}".encode()))
            play(day)
            yield day


def places_for(world: World) -> dict[str, str]:
    """Give each service an address for its numbers; return it for each part."""
    if world.on_servers:
        places = {part: free_place() for part in NAMES}
        world.of_part = {part: {"SHUTLINE_METRICS_LISTEN": place} for part, place in places.items()}
        return places
    place = free_place()
    world.environment["SHUTLINE_METRICS_LISTEN"] = place
    return dict.fromkeys(NAMES, place)


def play(day: Played) -> None:
    """Send what names people, cars and secrets in every place there is."""
    for path in (GOOD, BAD):
        made = day.dealer(
            "POST", "/api/v1/webhook-endpoints", "/api/v1/webhook-endpoints",
            {"url": day.receiver.url(path), "description": f"{NAME}, {TELEPHONE}"},
        )  # fmt: skip
        day.endpoints[path] = made["id"]
    order = {
        "dealer_ref": "PX-1042",
        "registration": MARK,
        "contact_email": EMAIL,
        "notes": f"Ask {NAME}, {TELEPHONE}.",
    }
    day.job = day.dealer("POST", ROUTE, ROUTE, order)["id"]
    day.dealer("POST", ROUTE, ROUTE, {**order, "registration": [NAME], "odile": EMAIL})
    day.dealer("GET", f"/api/v1/jobs/{day.job}", "/api/v1/jobs/<uuid:job_id>")
    day.dealer("GET", "/api/v1/jobs?registration=TU21%20ABC", "/api/v1/jobs")
    day.ask("GET", "/api/v1/jobs", "/api/v1/jobs", None, {"Authorization": f"Bearer {TOKEN}"})
    day.ask("GET", f"/{EMAIL}/{TELEPHONE.replace(' ', '')}", "none")
    day.ask("GET", f"/decide/{TOKEN}", "/decide/<str:token>")
    day.ask("GET", "/sign-in", "/sign-in", None, {"Host": "odile.example"})
    day.asked[-1] = (day.asked[-1][0], "GET", "none", 400)  # no address is looked up for it
    for _ in range(9):  # one more than django-axes lets by
        day.ask(
            "POST", "/api/v1/session", "/api/v1/session", {"email": EMAIL, "password": PASSWORD}
        )
    day.ask("GET", f"/faulty/{TOKEN}", "/faulty/<str:word>")
    day.tasks = day.world.python("-c", FAIL).split()
    wait_until(lambda: day.receiver.at(GOOD), "the notice")
    wait_until(lambda: len(day.receiver.at(BAD)) >= 2, "both attempts to the bad endpoint")
    for task in day.tasks:
        wait_until(partial(day.mentions, task), "the line of the task that failed")
    wait_until(lambda: day.collector.named("notice by webhook"), "the trace of the notice")
    wait_until(lambda: len(failed(day)) >= 2, "the lines of both attempts")


def failed(day: Played) -> list[dict[str, Any]]:
    """Return the lines of attempts that failed."""
    return [line for line in day.lines() if line["event"] == "delivery_failed"]


def test_each_request_has_one_line_with_route_status_and_time(played: Played) -> None:
    lines = played.lines()
    for given, method, route, status in played.asked:
        mine = [line for line in lines if line.get("request_id") == given]
        (line,) = [line for line in mine if line["event"] == "request"]
        assert (line["method"], line["route"]) == (method, route)
        assert line["status"] == status
        others = {line["logger"] for line in mine} - {"core.request_lines"}
        assert others <= {"axes.handlers.database"}, mine  # that somebody was locked out
        assert line["duration_ms"] > 0
    assert {status for _, _, _, status in played.asked} >= {200, 201, 400, 401, 404, 429, 500}


def test_a_line_says_who_asked_for_whom_and_about_which_car_by_id(played: Played) -> None:
    about_job = [line for line in played.lines() if line.get("job_id") == played.job]
    (line,) = [line for line in about_job if line["event"] == "request"]
    prefix = played.world.key.partition(".")[0]
    assert line["caller"] == f"key:{prefix}"
    mine = played.dealer("GET", "/api/v1/session", "/api/v1/session")
    assert line["organisation_id"] == mine["organisation"]["id"]


def test_a_fault_stands_in_the_line_of_its_request_and_says_where(played: Played) -> None:
    (line,) = [line for line in played.lines() if line.get("route") == "/faulty/<str:word>"]
    assert line["level"] == "error"
    assert line["exception"].endswith("builtins.ValueError: (hidden)")
    assert "faults/urls.py" in line["exception"]


def test_a_task_that_failed_or_was_lost_has_one_line(played: Played) -> None:
    lines = played.lines()
    for task, name in zip(played.tasks, ("fail", "die"), strict=True):
        (line,) = [line for line in lines if task in json.dumps(line)]
        assert (line["event"], line["level"]) == ("task_failed", "error")
        assert line["task"] == f"tests.reliability.faults.tasks.{name}"
        assert line["exception"]
    wordy = [line for line in lines if "faults/tasks.py" in line.get("exception", "")]
    assert len(wordy) == 1


def test_each_failed_attempt_has_one_line(played: Played) -> None:
    lines = failed(played)
    assert {line["endpoint_id"] for line in lines} == {played.endpoints[BAD]}
    assert {(line["reason"], line["status"]) for line in lines} == {("receiver_failed", 500)}
    tries = [(line["delivery_id"], line["tries"]) for line in lines]
    assert len(set(tries)) == len(tries)
    last = [line for line in lines if line["tries"] == 2]
    assert all(line["next_try_in_seconds"] is None for line in last)


def test_nothing_that_was_written_names_anybody(played: Played) -> None:
    text = played.text()
    assert [word for word in (*PRIVATE, played.world.key) if word.lower() in text.lower()] == []
    for line in played.lines():
        assert "@" not in str(line.get("request", "")) + str(line.get("error", ""))


def test_the_numbers_of_each_program_are_read(played: Played) -> None:
    task = "notifications.tasks.deliver_due"
    for part, line in {
        "web": 'shutline_requests_total{ended="2xx",view="WorkOrders"}',
        "notices": 'shutline_delivery_attempts_total{channel="webhook",ended="arrived"}',
        "work": 'shutline_sweep_runs_total{name="sweep_work",result="good"}',
        "beat": f'shutline_messages_sent_total{{task="{task}"}}',
    }.items():
        assert played.figure(part, line) >= 1, line
    notices, work = "notices", "work"
    ended = 'channel="webhook",ended="receiver_failed"'
    assert played.figure(notices, f"shutline_delivery_attempts_total{{{ended}}}") >= 2
    assert played.figure(notices, f'shutline_task_seconds_count{{task="{task}"}}') >= 1
    for name in ("fail", "die"):
        labels = f'task="tests.reliability.faults.tasks.{name}"'
        assert played.figure(work, f"shutline_task_failures_total{{{labels}}}") == 1
    assert played.figure("web", 'shutline_probe_good{probe="broker"}') == 1
    assert 'shutline_queue_messages{name="notices"}' in played.scrape("web")
    bad = played.endpoints[BAD]
    assert played.figure("web", f'shutline_endpoint_failing_seconds{{endpoint="{bad}"}}') > 0
    assert played.figure("work", "shutline_database_connections_opened_total") >= 1


def test_one_trace_leads_from_the_order_to_the_notice_that_arrived(played: Played) -> None:
    (request,) = [
        span
        for span in played.collector.named(f"POST {ROUTE}")
        if attributes(span)["http.response.status_code"] == 201
    ]
    in_trace = [span for span in played.collector.spans if span.trace_id == request.trace_id]
    attempts = [span for span in in_trace if span.name == "notice by webhook"]
    by_endpoint = {attributes(span)["shutline.endpoint_id"] for span in attempts}
    assert by_endpoint == set(played.endpoints.values())
    assert {span.parent_span_id for span in attempts} == {request.span_id}
    (arrived,) = {
        attributes(span)["http.response.status_code"]
        for span in attempts
        if attributes(span)["shutline.endpoint_id"] == played.endpoints[GOOD]
    }
    assert arrived == 200
    assert played.collector.services == {"shutline"}
    (line,) = [
        line for line in played.lines() if line.get("route") == ROUTE and line.get("status") == 201
    ]
    assert line["trace_id"] == request.trace_id.hex()


def test_no_span_names_anybody(played: Played) -> None:
    told = " ".join(str(span) for span in played.collector.spans)
    assert [word for word in (*PRIVATE, played.world.key) if word in told] == []


def test_a_trace_that_a_caller_sends_is_not_continued(played: Played) -> None:
    theirs = "00-" + "ab" * 16 + "-" + "cd" * 8 + "-01"
    played.ask("GET", "/api/docs", "/api/docs", None, {"traceparent": theirs})
    wait_until(lambda: played.collector.named("GET /api/docs"), "its span")
    (span,) = played.collector.named("GET /api/docs")
    assert span.trace_id.hex() != "ab" * 16
    assert span.parent_span_id == b""
