"""Leaves the service up: prints where it is, who signs in and what to try; shows what arrives."""

import json
import signal
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from threading import Event
from typing import Any
from urllib.parse import urlsplit

from jobs.demo import timeline
from jobs.demo.cast import DARA, INES, MILO, ODILE, OPERATOR, STOCK_SYSTEM, TAM, Person
from jobs.demo.client import API
from jobs.demo.dashboard import Dashboard
from jobs.demo.ledger import Receipt
from jobs.demo.postbox import Postbox
from jobs.demo.service import Service

LOOK_SECONDS = 1.0
SIGNED_IN_AT = (
    (OPERATOR, "operator"),
    (ODILE, "owner"),
    (MILO, "manager"),
    (TAM, "valeter"),
    (INES, "dealer's staff"),
    (DARA, "dealer's staff"),
)
ORDER = {"registration": "TX22 NEW", "make": "Corvane", "operations": ["mini_valet"]}


def print_addresses(
    service: Service,
    made: Mapping[str, Any],
    dashboard: Dashboard,
    pictures: Mapping[str, str],
) -> None:
    """Print addresses, sign-ins, keys and calls to try; `pictures`: addresses by what they show."""
    timeline.heading("The service stays up: look around")
    for name, path in (
        ("Sign in", "/sign-in"),
        ("Tablet", "/tablet/"),
        ("Dealer's dashboard", "/dashboard/"),
        ("Workshop's desk", "/desk/"),
        ("API, to try out", "/api/docs"),
        ("API, to read", "/api/reference"),
        ("OpenAPI document", "/api/openapi.json"),
        ("Operator's pages", "/admin/"),
        ("Is it ready?", "/readyz"),
    ):
        timeline.line(f"{name:<20}{service.url}{path}")
    timeline.line(f"{'Log':<20}{service.log}")
    timeline.line(
        "\nWho signs in (the operator at /admin/, the others at /sign-in), with the PIN that\n"
        "changes the person on the tablet:\n"
    )
    for person, role in SIGNED_IN_AT:
        print_person(person, role, made["passwords"][person.email])
    timeline.line("\nKeys (sent as Authorization: Bearer KEY):\n")
    for name, key in made["keys"].items():
        timeline.line(f"{name:<24}{key}")
    print_calls(service.url, made["keys"][STOCK_SYSTEM.name], dashboard.etag)
    print_pictures(pictures, made["keys"][STOCK_SYSTEM.name])


def print_person(person: Person, role: str, password: str) -> None:
    """Print one sign-in."""
    where = person.organisation or "the service"
    timeline.line(
        f"{role:<15}{person.name:<18}{where:<21}{person.email:<27}{password:<18}{person.pin}".rstrip()
    )


def print_calls(url: str, key: str, etag: str) -> None:
    """Print three calls that work as they stand."""
    allowed = f"'Authorization: Bearer {key}'"
    post = ["-H 'Content-Type: application/json'", f"-d '{json.dumps(ORDER)}'"]
    for what, path, more in (
        ("Post a work order; the notices about it show below", "/work-orders", post),
        ("Poll the ready cars: 304 until one changes", "/ready", [f"-H 'If-None-Match: {etag}'"]),
        ("Read the events from the beginning", "/events?after=0&limit=5", []),
    ):
        parts = [f"curl -si '{url}{API}{path}'", f"-H {allowed}", *more]
        timeline.line(f"\n# {what}\n" + " \\\n  ".join(parts))


def print_pictures(pictures: Mapping[str, str], key: str) -> None:
    """Print a call for each picture: they are served to the car's dealer and workshop alone."""
    for number, (what, address) in enumerate(pictures.items(), start=1):
        ending = Path(urlsplit(address).path).suffix or ".jpg"
        timeline.line(
            f"\n# {what}\ncurl -s '{address}' \\\n"
            f"  -H 'Authorization: Bearer {key}' -o picture-{number}{ending}"
        )


def stay(service: Service, postboxes: Mapping[str, Postbox]) -> None:
    """Show what arrives until Ctrl-C, SIGTERM, or the end of the service."""
    stopped = Event()
    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        signal.signal(number, lambda *_: stopped.set())
    for postbox in postboxes.values():
        postbox.on_receipt = shower(postbox.channel)
    timeline.line("\nCtrl-C stops everything.\n")
    while not stopped.wait(LOOK_SECONDS):
        if not service.alive():
            timeline.line(f"The service has stopped. The end of its log:\n{service.last_lines()}")
            return
    timeline.line("\nStopping.")


def shower(channel: str) -> Callable[[Receipt], None]:
    """Return what prints a receipt of the channel."""

    def show(receipt: Receipt) -> None:
        state = "verified" if receipt.verified else "NOT VERIFIED"
        timeline.line(f"{time.strftime('%H:%M:%S')}  {channel:<9}{receipt.notice.type:<21}{state}")

    return show
