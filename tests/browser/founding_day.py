"""Founds the day for a service: `python -m tests.browser.founding_day` prints it as JSON.

`places` are for the addresses of pages, `people` say how each signs in. It runs in a process of its
own, in the environment of the service that it is for.
"""

import json
import os

os.environ |= {
    "SHUTLINE_ALLOWED_HOSTS": "localhost,127.0.0.1,testserver",
    "SHUTLINE_ALLOW_PLAIN_HTTP": "1",
    "SHUTLINE_OPEN_NETWORKS": "127.0.0.0/8",
    "SHUTLINE_LOG_LEVEL": "ERROR",
}
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "core.settings")

import django

django.setup()

from tests.browser.day import found_day, sign_ins  # noqa: E402  Django must be set up first


def main() -> None:
    """Found the day and print where everything is."""
    day = found_day()
    print(json.dumps({"places": day.places, "people": sign_ins(day)}))  # noqa: T201  its purpose


if __name__ == "__main__":
    main()
