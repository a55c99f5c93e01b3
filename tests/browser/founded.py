"""Has a running service founded with what the pages are tried on."""

import json
import subprocess
import sys
from urllib.parse import urlsplit

from tests.reliability.service import ROOT, Service, clean_environment


def founded(service: Service) -> dict[str, str]:
    """Found an invented workshop and dealer there; return each page's address by its purpose."""
    printed = subprocess.run(
        [sys.executable, "-m", "tests.browser.founding"],
        cwd=ROOT,
        env={**clean_environment(), "SHUTLINE_DATA_DIR": str(service.folder)},
        stdout=subprocess.PIPE,
        text=True,
        check=True,
        timeout=120,
    ).stdout
    made = json.loads(printed.splitlines()[-1])
    return {purpose: service.url + urlsplit(url).path for purpose, url in made.items()}
