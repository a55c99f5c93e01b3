"""Makes the invented workshop, its dealers, people and keys, through the management commands.

Run as `python -m jobs.demo.founding` in the environment of the demo's service: one process for
all commands, since starting Django for each would take longer than the day. Prints one JSON
object.
"""

import io
import json
import os
import secrets
import sys
from typing import Any

import django
from django.core.management import call_command

from jobs.demo.cast import DEALERS, KEYS, OPERATOR, PEOPLE, WORKSHOP, Key, Person


def told(command: str, *arguments: str) -> dict[str, Any]:
    """Run one management command with --json and return what it printed."""
    printed = io.StringIO()
    call_command(command, *arguments, "--json", stdout=printed)
    answer: dict[str, Any] = json.loads(printed.getvalue())
    return answer


def add_person(person: Person) -> str:
    """Make a person and return the password that was made."""
    who = [person.name, "--email", person.email, "--role", person.role]
    who += ["--pin", person.pin] if person.pin else []
    return str(told("add_person", *who, "--organisation", person.organisation)["password"])


def add_key(key: Key) -> str:
    """Make a key and return it."""
    what = ("--organisation", key.organisation, "--name", key.name, "--scopes", key.scopes)
    return str(told("add_key", *what)["key"])


def found() -> dict[str, Any]:
    """Run every command; return passwords by person's e-mail address and keys by their name."""
    told("add_workshop", WORKSHOP.name, "--contact-email", WORKSHOP.email)
    for dealer in DEALERS:
        place = ("--workshop", WORKSHOP.name, "--contact-email", dealer.email)
        told("add_dealer", dealer.name, *place, *(["--asks-first"] if dealer.asks_first else []))
    passwords = {person.email: add_person(person) for person in PEOPLE}
    keys = {key.name: add_key(key) for key in KEYS}
    passwords[OPERATOR.email] = os.environ["DJANGO_SUPERUSER_PASSWORD"] = secrets.token_urlsafe(12)
    call_command(
        "createsuperuser", interactive=False, email=OPERATOR.email, name=OPERATOR.name, verbosity=0
    )
    return {"passwords": passwords, "keys": keys}


if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "core.settings")
    django.setup()
    sys.stdout.write(json.dumps(found()))
