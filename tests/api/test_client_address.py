"""Where a request comes from: what a proxy says counts only where the proxy is trusted."""

from typing import Any

import pytest
from django.test import Client, RequestFactory
from pytest_django import Settings

from core.client_address import client_address

CASES = [
    # peer, X-Forwarded-For, trusted, found
    ("198.51.100.7", "", [], "198.51.100.7"),
    ("198.51.100.7", "192.0.2.1", [], "198.51.100.7"),  # anybody can write the header
    ("198.51.100.7", "192.0.2.1", ["10.0.0.0/8"], "198.51.100.7"),
    ("10.0.0.2", "192.0.2.1", ["10.0.0.0/8"], "192.0.2.1"),
    ("10.0.0.2", "203.0.113.9, 192.0.2.1", ["10.0.0.0/8"], "192.0.2.1"),  # the left one is claimed
    ("10.0.0.2", "203.0.113.9, 192.0.2.1, 10.0.0.3", ["10.0.0.0/8"], "192.0.2.1"),
    ("10.0.0.2", "10.0.0.9, 10.0.0.3", ["10.0.0.0/8"], "10.0.0.9"),
    ("10.0.0.2", "192.0.2.1, rubbish", ["10.0.0.0/8"], "10.0.0.2"),
    ("10.0.0.2", "", ["10.0.0.0/8"], "10.0.0.2"),
    ("10.0.0.2", "192.0.2.1:50123", ["10.0.0.0/8"], "192.0.2.1"),
    ("10.0.0.2", "[2001:db8::7]:443", ["10.0.0.0/8"], "2001:db8::7"),
    ("::ffff:10.0.0.2", "192.0.2.1", ["10.0.0.0/8"], "192.0.2.1"),
    ("fd12::2", "2001:db8::7", ["fd12::/48"], "2001:db8::7"),
    ("", "192.0.2.1", ["10.0.0.0/8"], ""),
]


@pytest.mark.parametrize(("peer", "forwarded", "trusted", "found"), CASES)
def test_the_header_is_read_from_the_right_as_far_as_proxies_are_trusted(
    settings: Settings, peer: str, forwarded: str, trusted: list[str], found: str
) -> None:
    settings.TRUSTED_PROXIES = tuple(trusted)
    headers: dict[str, Any] = {"HTTP_X_FORWARDED_FOR": forwarded} if forwarded else {}
    request = RequestFactory().get("/", REMOTE_ADDR=peer, **headers)
    assert client_address(request) == found


@pytest.mark.usefixtures("scene", "still_minute")
def test_calls_that_are_open_to_all_are_limited_by_the_same_address(
    settings: Settings,
) -> None:
    settings.TRUSTED_PROXIES = ("10.0.0.0/8",)
    settings.REQUESTS_PER_MINUTE = 2

    def ask(address: str, claimed: str = "") -> int:
        client = Client(REMOTE_ADDR="10.0.0.2")
        forwarded = f"{claimed}{address}"
        return int(
            client.get("/api/v1/event-types", headers={"X-Forwarded-For": forwarded}).status_code
        )

    assert [ask("192.0.2.1") for _ in range(3)] == [200, 200, 429]
    assert ask("192.0.2.1", claimed="203.0.113.9, ") == 429
    assert ask("192.0.2.2") == 200
