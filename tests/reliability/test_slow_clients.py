"""Senders that dawdle: others are answered meanwhile, and they are told that time is up."""

import json
import socket
from collections.abc import Iterator
from urllib.parse import urlsplit

import pytest

from tests.patience import PATIENCE_SECONDS
from tests.reliability.service import Service, get, wait_until, with_tables

SENDERS = 50
# Were each sender to hold the thread until its deadline, it would be held for longer than these
# tests wait for whoever comes after them.
SHORT = {"SHUTLINE_REQUEST_SECONDS": "10", "SHUTLINE_WEB_THREADS": "1"}
# Answered by a thread; that the process lives is said without one.
PAGE = "/sign-in"
ADDRESSES = ("/api/v1/session", "/sign-in", "/admin/login/")


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    folder = with_tables(tmp_path_factory.mktemp("slow"))
    with Service(folder, "--port", "0", "--only", "web", environment=SHORT) as running:
        running.wait_until_ready()
        yield running


def connect(service: Service) -> socket.socket:
    place = urlsplit(service.url)
    return socket.create_connection((place.hostname, place.port), timeout=PATIENCE_SECONDS)


def head(address: str, *more: str) -> bytes:
    lines = (f"POST {address} HTTP/1.1", "Host: localhost", *more, "", "")
    return "\r\n".join(lines).encode()


def everything(connection: socket.socket) -> bytes:
    """Return what comes until the other end closes."""
    parts = []
    while part := connection.recv(65536):
        parts.append(part)
    return b"".join(parts)


def problem(answer: bytes) -> tuple[int, dict[str, object]]:
    """Return the status and the problem of an answer."""
    headers, _, body = answer.partition(b"\r\n\r\n")
    assert b"application/problem+json" in headers, answer
    return int(headers.split()[1]), json.loads(body)


def test_fifty_slow_senders_leave_others_answered_and_get_408(service: Service) -> None:
    senders = [connect(service) for _ in range(SENDERS)]
    for number, sender in enumerate(senders):
        address = ADDRESSES[number % len(ADDRESSES)]
        sender.sendall(head(address, "Content-Length: 100") + b"{")
    wait_until(lambda: get(f"{service.url}{PAGE}") == 200, "an answer beside slow senders")
    for sender in senders:
        status, document = problem(everything(sender))
        assert status == document["status"] == 408
        assert document["type"] == "urn:shutline:problem:slow-request"
        assert document["next_step"]
        sender.close()


def test_headers_that_do_not_come_end_the_connection(service: Service) -> None:
    for begun in (b"", b"GET /healthz HTTP/1.1\r\nHost: loc"):
        connection = connect(service)
        connection.sendall(begun)
        assert everything(connection) == b""
        connection.close()


def test_a_connection_with_nothing_more_to_ask_ends(service: Service) -> None:
    connection = connect(service)
    connection.sendall(f"GET {PAGE} HTTP/1.1\r\nHost: localhost\r\n\r\n".encode())
    assert everything(connection).startswith(b"HTTP/1.1 200")
    connection.close()


def test_a_body_in_pieces_without_a_length_is_read(service: Service) -> None:
    pieces = b'b\r\n{"email": 1\r\n1\r\n}\r\n0\r\n\r\n'
    connection = connect(service)
    more = ("Content-Type: application/json", "Transfer-Encoding: chunked", "Connection: close")
    connection.sendall(head("/api/v1/session", *more) + pieces)
    status, document = problem(everything(connection))
    assert status == 400
    assert {"field": "password", "message": "This field is required."} in document["errors"]  # type: ignore[operator]
    connection.close()


def test_a_body_that_breaks_off_reaches_no_view(service: Service) -> None:
    connection = connect(service)
    connection.sendall(head("/api/v1/session", "Content-Length: 100") + b"{}")
    connection.shutdown(socket.SHUT_WR)
    answer = everything(connection)
    assert not answer or problem(answer)[1]["detail"] == "The body broke off after 2 bytes."
    connection.close()


def test_requests_sent_before_the_first_is_answered_are_answered_in_order(
    service: Service,
) -> None:
    asked = f"GET {PAGE} HTTP/1.1\r\nHost: localhost\r\n".encode()
    connection = connect(service)
    connection.sendall(2 * (asked + b"\r\n") + asked + b"Connection: close\r\n\r\n")
    assert everything(connection).count(b"HTTP/1.1 200") == 3
    connection.close()


def test_a_reader_who_takes_nothing_holds_no_thread(service: Service) -> None:
    readers = []
    for _ in range(SENDERS):
        reader = socket.socket()
        reader.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        place = urlsplit(service.url)
        reader.connect((place.hostname, place.port))
        reader.sendall(b"GET /api/openapi.json HTTP/1.1\r\nHost: localhost\r\n\r\n")
        readers.append(reader)
    wait_until(lambda: get(f"{service.url}{PAGE}") == 200, "an answer beside slow readers")
    for reader in readers:
        reader.settimeout(PATIENCE_SECONDS)
        assert reader.recv(1), "its answer has waited for it"
        reader.close()
