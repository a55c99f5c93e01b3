"""What the tests of pages read of them."""

import re
from typing import Any

from django.test import Client

MOST_QUERIES = 12  # of a whole page, the session, the person and the organisation included


def page(client: Client, address: str = "/dashboard/", **more: Any) -> str:
    """Return a page that must be there."""
    answer = client.get(address, **more)
    assert answer.status_code == 200, answer.content
    return str(answer.content.decode())


def words(html: str) -> str:
    """Return what is read of a page: no tags, one space between words."""
    return " ".join(re.sub(r"<[^>]+>", " ", html).split())


def tight(html: str) -> str:
    """Return a page with one space where there are several, and none beside a tag."""
    return re.sub(r" ?(<[^>]+>) ?", r"\1", " ".join(html.split()))


def section(html: str, name: str) -> str:
    """Return the part of the page under the heading with this id, in words."""
    (part,) = re.findall(rf'<section[^>]*aria-labelledby="{name}".*?</section>', html, re.DOTALL)
    return words(part)
