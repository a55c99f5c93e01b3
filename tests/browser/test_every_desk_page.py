"""Every page of the desk, in a real browser."""

import pytest

from tests.browser.looking import Eye, eye
from tests.browser.pages_list import Page, pages_of

pytestmark = pytest.mark.browser
__all__ = ["eye"]  # the fixture, for pytest to find


@pytest.mark.parametrize("page", pages_of("desk"), ids=lambda page: page.name)
def test_every_page_is_fit_for_everyone(eye: Eye, page: Page) -> None:
    eye.check(page)
