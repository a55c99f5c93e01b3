"""Every page of the service costs few queries, sends our headers, and is in the list of pages."""

import re
from collections.abc import Iterator

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import URLPattern, URLResolver, get_resolver, resolve

from accounts.pages.base import PageView
from core.pages import HEADERS
from tests.browser.day import Day, found_day
from tests.browser.pages_list import Page, every_page
from tests.scene import person_api

MOST_QUERIES = 12
# By name, what leads on elsewhere, is a part of a page, or is a file: no page to look at.
NO_PAGES = re.compile(r"^home$|^tablet_(since|worker|manifest)$|^desk_cars$|_(part|csv|svg)$")


@pytest.fixture
def day(db: None) -> Day:
    """Make the working day."""
    del db
    return found_day()


def visitor(day: Day, who: str) -> Client:
    """Return a browser in which somebody is signed in."""
    return Client() if who == "nobody" else person_api(getattr(day.scene, who)).client


def looked_at(day: Day) -> Iterator[tuple[Page, Client, str]]:
    """Yield each page with a browser that may see it and its address on this day."""
    for page in every_page():
        yield page, visitor(day, page.who), page.address.format(**day.places)


def test_every_page_takes_few_queries(day: Day) -> None:
    counts = {}
    for page, client, address in looked_at(day):
        with CaptureQueriesContext(connection) as asked:
            answer = client.get(address, headers={"Accept": "text/html"})
        assert answer.status_code == (404 if page.name == "not-found" else 200), page
        counts[page.name] = len(asked)
    assert {name: count for name, count in counts.items() if count > MOST_QUERIES} == {}


def test_every_page_sends_our_headers_and_can_be_framed_nowhere(day: Day) -> None:
    for page, client, address in looked_at(day):
        sent = client.get(address, headers={"Accept": "text/html"}).headers
        policy = sent["Content-Security-Policy"]
        assert "unsafe" not in policy, page
        assert "frame-ancestors 'none'" in policy, page
        assert sent["X-Frame-Options"] == "DENY", page
        assert sent["Referrer-Policy"] == HEADERS["Referrer-Policy"], page
        assert re.search("no-cache|no-store", sent["Cache-Control"]), page


def test_every_page_is_in_the_list_that_is_looked_at(day: Day) -> None:
    listed = {
        resolve(page.address.partition("?")[0].format(**day.places)).url_name
        for page in every_page()
        if page.name != "not-found"
    }
    there = {
        pattern.name
        for pattern in page_patterns(get_resolver())
        if not NO_PAGES.search(str(pattern.name))
    }
    assert there - listed == set()


def page_patterns(resolver: URLResolver) -> Iterator[URLPattern]:
    """Yield the pattern of everything that answers a GET with a page."""
    for pattern in resolver.url_patterns:
        if isinstance(pattern, URLResolver):
            yield from page_patterns(pattern)
            continue
        view = getattr(pattern.callback, "view_class", None)
        if view is None or not issubclass(view, PageView):
            continue
        if hasattr(view, "get") and "get" in view.http_method_names:
            yield pattern
