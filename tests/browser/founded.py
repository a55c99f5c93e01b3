"""Has a running service founded with what the pages are tried on."""

import json
import subprocess
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlsplit

from tests.patience import PATIENCE_SECONDS
from tests.reliability.service import ROOT, Service, clean_environment


def founded(service: Service) -> dict[str, str]:
    """Found an invented workshop and dealer there; return each page's address by its purpose."""
    made = founded_by("tests.browser.founding", service)
    return {purpose: service.url + urlsplit(url).path for purpose, url in made.items()}


@dataclass(frozen=True, slots=True)
class FoundedDay:
    """The day in a running service: where everything is, and how people sign in."""

    places: Mapping[str, str]
    people: Mapping[str, Mapping[str, str]]


def founded_day(service: Service, environment: Mapping[str, str] | None = None) -> FoundedDay:
    """Found the working day there; `environment` names its servers where it has any."""
    return FoundedDay(**founded_by("tests.browser.founding_day", service, environment))


def founded_by(
    module: str, service: Service, environment: Mapping[str, str] | None = None
) -> dict[str, Any]:
    """Run a founding module in the environment of a service and return what it printed."""
    printed = subprocess.run(
        [sys.executable, "-m", module],
        cwd=ROOT,
        env={
            **clean_environment(),
            "SHUTLINE_DATA_DIR": str(service.folder),
            **(environment or {}),
        },
        stdout=subprocess.PIPE,
        text=True,
        check=True,
        timeout=PATIENCE_SECONDS,
    ).stdout
    made: dict[str, Any] = json.loads(printed.splitlines()[-1])
    return made
