"""`manage.py serve`: it answers, restarts what dies, and leaves nothing behind however it ends."""

import os
import signal
import socket
import sys
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from core.serving.parts import NAMES
from core.serving.processes import Program
from core.serving.supervisor import STEADY_SECONDS, Child, pause_before_restart
from tests.patience import PATIENCE_SECONDS
from tests.reliability.service import Service, get, state, wait_until, with_tables

needs_proc = pytest.mark.skipif(
    not Path("/proc/self/environ").exists(), reason="looks for processes in /proc"
)

Start = Callable[..., Service]


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Start]:
    """Return what starts a service; all of them are gone when the test ends."""
    started: list[Service] = []

    def begin(*arguments: str, **environment: str) -> Service:
        folder = tmp_path / "data"
        if "--only" in arguments and "web" not in arguments and not folder.exists():
            folder.mkdir()
            with_tables(folder)  # these make none
        service = Service(folder, *arguments, environment=environment)
        started.append(service)
        return service

    yield begin
    for service in started:
        service.__exit__()


@pytest.fixture(scope="module")
def running(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """Return one service for the tests that only kill a part of it."""
    with Service(tmp_path_factory.mktemp("served"), "--port", "0", environment={}) as service:
        service.wait_until_ready()
        yield service


def wait_until_gone(service: Service) -> None:
    wait_until(lambda: not service.processes(), "every process gone")


def figure(place: str, name: str) -> float:
    """Return the sum of a number from /metrics over all of its labels."""
    with urllib.request.urlopen(f"http://{place}/metrics", timeout=PATIENCE_SECONDS) as answer:
        lines = answer.read().decode().splitlines()
    return sum(float(line.rpartition(" ")[2]) for line in lines if line.startswith(name))


def free_place() -> str:
    """Return an address where nobody listens."""
    with socket.create_server(("127.0.0.1", 0)) as probe:
        return f"127.0.0.1:{probe.getsockname()[1]}"


def freeze(service: Service, part: str) -> None:
    """Stop a part so that it cannot even be told to end."""
    wait_until(lambda: service.leader(part), part)
    group = service.group(service.leader(part) or 0)
    for pid in group:
        os.kill(pid, signal.SIGSTOP)
    wait_until(lambda: all(state(pid) == "T" for pid in group), f"a frozen {part}")


@needs_proc
def test_it_answers_and_becomes_ready_by_its_own_sweep(running: Service) -> None:
    assert get(f"{running.url}/healthz") == 200
    assert get(f"{running.url}/metrics") == 404
    # Ready needs beat, the queue and the worker to have done a sweep together.
    wait_until(lambda: get(f"{running.url}/readyz") == 200, "readiness")


@needs_proc
@pytest.mark.parametrize("part", NAMES)
def test_it_restarts_a_part_that_was_killed_and_clears_away_its_children(
    running: Service, part: str
) -> None:
    old = running.leader(part)
    assert old
    group = running.group(old)
    os.kill(old, signal.SIGKILL)
    wait_until(lambda: running.leader(part) not in {None, old}, f"a new {part}")
    wait_until(lambda: not group & running.processes().keys(), f"the end of the old {part}")
    wait_until(lambda: get(f"{running.url}/healthz") == 200, "an answer")
    lines = [line for line in running.errors.read_text().splitlines() if "program_died" in line]
    assert sum(f'"program": "{part}"' in line for line in lines) == 1


@needs_proc
def test_it_restarts_the_program_that_workers_and_beat_were_forked_from(running: Service) -> None:
    old = running.leader("workers")
    assert old
    wait_until(lambda: all(map(running.leader, NAMES)), "every part")
    forked = {pid for part in NAMES[1:] for pid in running.group(running.leader(part) or 0)}
    os.kill(old, signal.SIGKILL)
    wait_until(lambda: running.leader("workers") not in {None, old}, "a new program")
    wait_until(lambda: all(map(running.leader, NAMES)), "every part again")
    assert not forked & running.processes().keys(), "nothing of the old one is left"


@needs_proc
def test_it_replaces_a_killed_warden(running: Service) -> None:
    def wardens() -> set[int]:
        return {pid for pid, command in running.processes().items() if "warden.py" in command}

    (old,) = wardens()
    os.kill(old, signal.SIGKILL)
    wait_until(lambda: wardens() and old not in wardens(), "a new warden")
    assert running.process.poll() is None, "the service goes on"


@needs_proc
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_stops_it_cleanly_and_leaves_no_process(
    start: Start, number: signal.Signals
) -> None:
    service = start("--port", "0")
    service.wait_until_ready()
    url = service.url
    wait_until(lambda: len(service.processes()) >= 9, "its parts and what they start")
    assert service.stop(number) == 0
    assert not service.processes()
    assert get(f"{url}/healthz") == 0
    assert "Traceback" not in service.errors.read_text()


@needs_proc
def test_its_programs_do_not_outlive_a_killed_supervisor(start: Start) -> None:
    service = start("--port", "0")
    service.wait_until_ready()
    freeze(service, "notices")  # the one that would not end by itself
    service.process.kill()
    service.process.wait()
    wait_until_gone(service)
    assert not service.processes()


@needs_proc
def test_a_second_ctrl_c_kills_what_will_not_stop(start: Start) -> None:
    service = start("--port", "0")
    service.wait_until_ready()
    freeze(service, "notices")
    service.process.send_signal(signal.SIGINT)
    wait_until(lambda: not service.leader("web"), "the web server's end")
    assert service.process.poll() is None, "it waits for the worker"
    assert service.stop(signal.SIGINT) == 130
    assert not service.processes()


@needs_proc
def test_a_program_that_will_not_stop_is_killed_after_a_while(start: Start) -> None:
    service = start("--only", "worker", SHUTLINE_DELIVERY_TIMEOUT_SECONDS="1")
    service.wait_until_ready()
    wait_until(lambda: service.leader("notices"), "the worker")
    freeze(service, "notices")
    assert service.stop(signal.SIGTERM) == 0
    assert not service.processes()
    assert "program_killed" in service.errors.read_text()


@needs_proc
def test_several_web_processes_add_their_numbers_up(start: Start) -> None:
    place = free_place()
    two = {"SHUTLINE_WEB_PROCESSES": "2", "SHUTLINE_METRICS_LISTEN": place}
    service = start("--port", "0", "--only", "web", **two)
    service.wait_until_ready()
    for _ in range(20):  # not of /healthz, which is answered before anything counts
        assert get(f"{service.url}/sign-in") == 200
    # Whichever process answers, it counts all requests.
    counts = {figure(place, "shutline_requests_total{") for _ in range(6)}
    assert len(counts) == 1
    assert counts.pop() >= 20
    assert service.stop(signal.SIGTERM) == 0


@needs_proc
def test_one_part_alone_starts_no_other(start: Start) -> None:
    service = start("--only", "beat")
    service.wait_until_ready()
    wait_until(lambda: service.leader("beat"), "beat")
    assert [service.leader(part) for part in ("web", "notices", "work")] == [None] * 3
    assert "Shutline's beat is running" in service.output.read_text()


def test_a_taken_port_is_said_in_a_sentence(start: Start) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        service = start("--port", str(port))
        assert service.process.wait(timeout=PATIENCE_SECONDS) == 1
    errors = service.errors.read_text()
    assert f"Port {port} on 127.0.0.1 is taken by another program." in errors
    assert "Traceback" not in errors


def test_a_taken_address_for_the_numbers_is_said_in_a_sentence(start: Start) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        service = start("--port", "0", SHUTLINE_METRICS_LISTEN=f"127.0.0.1:{port}")
        assert service.process.wait(timeout=PATIENCE_SECONDS) == 1
    assert f"Port {port} on 127.0.0.1 is taken" in service.errors.read_text()


def test_a_second_service_on_the_same_folder_is_refused(running: Service, start: Start) -> None:
    second = start("--port", "0", SHUTLINE_DATA_DIR=str(running.folder))
    assert second.process.wait(timeout=PATIENCE_SECONDS) == 1
    errors = second.errors.read_text()
    assert f"already runs on {running.folder}" in errors
    assert "Traceback" not in errors


def test_a_bad_setting_stops_it_before_anything_starts(start: Start) -> None:
    service = start("--port", "0", SHUTLINE_WEB_THREADS="many")
    assert service.process.wait(timeout=PATIENCE_SECONDS) == 1
    errors = service.errors.read_text()
    assert "SHUTLINE_WEB_THREADS" in errors
    assert "core.E004" in errors


def test_a_dead_database_server_is_said_in_a_sentence(start: Start) -> None:
    with socket.create_server(("127.0.0.1", 0)) as listener:
        port = listener.getsockname()[1]
    service = start("--port", "0", DATABASE_URL=f"postgres://nobody@127.0.0.1:{port}/none")
    assert service.process.wait(timeout=PATIENCE_SECONDS) == 1
    errors = service.errors.read_text()
    assert "The database does not answer" in errors
    assert "Traceback" not in errors


def test_the_pause_before_a_restart_grows_to_ten_seconds() -> None:
    assert [pause_before_restart(n) for n in range(1, 8)] == [0.5, 1, 2, 4, 8, 10, 10]
    assert pause_before_restart(10_000) == 10


def test_a_program_that_lived_long_is_restarted_soon_again() -> None:
    child = Child(Program("worker", (sys.executable, "-c", "raise SystemExit(3)"), {}))
    for pause in (0.5, 1.0, 2.0):
        child.start()
        wait_until(lambda: child.clear_away() == 3, "its end")
        assert child.plan_restart() == pause
    child.start()
    wait_until(lambda: child.clear_away() == 3, "its end")
    child.started_at -= STEADY_SECONDS
    assert child.plan_restart() == 0.5
