"""The pages of this part in a real browser: the API's documents and the operator's door."""

import pytest

from tests.browser.conftest import PHONE, Visit
from tests.reliability.service import Service

pytestmark = pytest.mark.browser


def test_the_interactive_documents_open_and_load_nothing_from_elsewhere(
    visit: Visit, service: Service
) -> None:
    visit.page.goto(f"{service.url}/api/docs")
    visit.page.get_by_text("/api/v1/work-orders", exact=True).first.wait_for()
    assert visit.elsewhere(service.url) == []
    assert visit.errors == []


def test_an_operation_opens_with_its_example(visit: Visit, service: Service) -> None:
    visit.page.goto(f"{service.url}/api/docs")
    visit.page.get_by_text("Post one work order", exact=True).first.click()
    visit.page.get_by_text("PX-1042").first.wait_for()
    assert visit.elsewhere(service.url) == []
    assert visit.errors == []


def test_the_reference_shows_the_notices_and_loads_nothing_from_elsewhere(
    visit: Visit, service: Service
) -> None:
    visit.page.goto(f"{service.url}/api/reference")
    visit.page.get_by_text("job.ready").first.wait_for()
    assert visit.elsewhere(service.url) == []
    assert visit.errors == []


@pytest.mark.parametrize("path", ["/api/docs", "/api/reference", "/admin/login/"])
def test_nothing_runs_over_the_edge_of_a_phone(visit: Visit, service: Service, path: str) -> None:
    visit.page.set_viewport_size(PHONE)  # type: ignore[arg-type]
    visit.page.goto(f"{service.url}{path}")
    visit.page.wait_for_load_state("networkidle")
    wide = visit.page.evaluate("document.documentElement.scrollWidth")
    assert wide <= PHONE["width"]


def test_the_operators_door_says_whose_it_is(visit: Visit, service: Service) -> None:
    visit.page.goto(f"{service.url}/admin/")
    assert "Shutline" in visit.page.title()
    assert visit.elsewhere(service.url) == []
