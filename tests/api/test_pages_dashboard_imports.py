"""A list of cars sent as a file: read, taken in some lines at a time, each line answered."""

import csv
import io
import re
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from accounts.models import Person
from jobs.work.inputs.orders.csv_lines import MOST_LINES, template
from jobs.work.intake import orders as intake
from jobs.work.models import Job, OrderImport
from jobs.work.selectors.orders import imports_waiting
from jobs.work.services.orders.imports import LINES_AT_ONCE
from jobs.work.tasks import take_orders
from tests.api.looked import MOST_QUERIES, page, words
from tests.api.steps import NOWHERE, at_once, posted
from tests.scene import PASSWORD, Scene, person_api

pytestmark = pytest.mark.django_db
NEW = "/dashboard/imports/new"
HTMX = {"HX-Request": "true"}


@pytest.fixture
def staff(scene: Scene) -> Client:
    return person_api(scene.staff).client


def mark(index: int) -> str:
    """Return a mark of its own for each index."""
    first, rest = divmod(index, 26)
    return f"TU{10 + first} J{chr(65 + rest % 26)}K"


def sheet(count: int, *more: str) -> str:
    lines = [f"PX-{index},{mark(index)},full_valet;touch_in" for index in range(count)]
    return "\n".join(["dealer_ref,registration,operations", *lines, *more])


def sent(client: Client, text: str | bytes, name: str = "cars.csv") -> Any:
    content = text.encode() if isinstance(text, str) else text
    return client.post(NEW, {"file": SimpleUploadedFile(name, content)})


def begun(client: Client, text: str) -> str:
    """Send a file and return the address of its page."""
    answer = sent(client, text)
    assert answer.status_code == 303, answer.content
    return str(answer.headers["Location"])


def finished(client: Client, text: str) -> str:
    """Send a file, take all of it in, and return the address of its page."""
    way = begun(client, text)
    while OrderImport.objects.get(pk=way.rpartition("/")[2]).finished_at is None:
        assert client.post(f"{way}/go-on").status_code == 303
    return way


def test_the_form_leads_to_the_template_and_explains_every_column(staff: Client) -> None:
    html = page(staff, NEW)
    assert 'href="/api/v1/work-orders/template"' in html
    assert staff.get("/api/v1/work-orders/template").content.decode() == template()
    assert "Codes of operations and packages" in html


def test_a_file_is_kept_and_nothing_taken_in_until_the_page_goes_on(staff: Client) -> None:
    way = begun(staff, sheet(3))
    html = page(staff, way)
    assert "0 of 3 lines are done" in words(html)
    assert f'hx-post="{way}/go-on"' in html
    assert ">Go on</button>" in html
    assert not Job.objects.exists()


def test_each_step_takes_some_lines_in_and_says_how_far_it_is(staff: Client) -> None:
    way = begun(staff, sheet(LINES_AT_ONCE + 5))
    part = staff.post(f"{way}/go-on", headers=HTMX)
    assert part.status_code == 200
    assert f"{LINES_AT_ONCE} of {LINES_AT_ONCE + 5} lines are done" in words(part.content.decode())
    assert f'hx-post="{way}/go-on"' in part.content.decode()
    assert Job.objects.count() == LINES_AT_ONCE
    assert f"{LINES_AT_ONCE} of {LINES_AT_ONCE + 5} lines are done" in words(page(staff, way))
    last = staff.post(f"{way}/go-on", headers=HTMX).content.decode()
    assert "hx-post" not in last
    assert f"{LINES_AT_ONCE + 5} of {LINES_AT_ONCE + 5} cars are with the workshop" in words(last)
    assert Job.objects.count() == LINES_AT_ONCE + 5


def test_without_a_script_a_button_takes_in_the_next_lines(staff: Client) -> None:
    way = begun(staff, sheet(2))
    answer = staff.post(f"{way}/go-on", follow=True)
    assert answer.redirect_chain == [(way, 303)]
    assert "2 of 2 cars are with the workshop." in words(answer.content.decode())


def test_a_step_sent_again_takes_nothing_in_twice(staff: Client) -> None:
    way = finished(staff, sheet(3))
    assert staff.post(f"{way}/go-on").status_code == 303
    assert Job.objects.count() == 3
    assert len(OrderImport.objects.get().answers) == 3


def test_a_list_goes_on_with_the_page_closed(staff: Client) -> None:
    way = begun(staff, sheet(2 * LINES_AT_ONCE + 1, "P-1,,"))
    take_orders()
    assert Job.objects.count() == 2 * LINES_AT_ONCE + 1
    said = words(page(staff, way))
    assert f"{2 * LINES_AT_ONCE + 1} of {2 * LINES_AT_ONCE + 2} cars are with the workshop" in said
    take_orders()
    assert len(OrderImport.objects.get().answers) == 2 * LINES_AT_ONCE + 2


def test_a_list_that_fails_keeps_no_other_waiting(
    staff: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    begun(staff, sheet(1))
    begun(staff, "dealer_ref,registration\nPX-7,JX19 KLM")
    original = intake.line_take

    def break_down(caller: Any, number: int, line: Any, catalogues: Any) -> Any:
        if line["dealer_ref"] == "PX-0":
            raise RuntimeError("The machine went off.")
        return original(caller, number, line, catalogues)

    monkeypatch.setattr(intake, "line_take", break_down)
    take_orders()
    assert [job.dealer_ref for job in Job.objects.all()] == ["PX-7"]
    monkeypatch.undo()
    take_orders()
    assert Job.objects.count() == 2


def test_nobody_orders_in_the_name_of_somebody_who_left(scene: Scene, staff: Client) -> None:
    way = begun(staff, sheet(1))
    Person.objects.filter(pk=scene.staff.pk).update(is_active=False)
    take_orders()
    assert not Job.objects.exists()
    colleague = Person.objects.create_user(
        email="ruta@dealer.example", organisation=scene.dealer, name="Ruta", role="staff"
    )
    assert person_api(colleague).client.post(f"{way}/go-on").status_code == 303
    assert Job.objects.count() == 1


def test_a_list_asks_a_worker_to_take_it_in(
    staff: Client, django_capture_on_commit_callbacks: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[bool] = []
    monkeypatch.setattr("jobs.work.services.orders.imports.wake_orders", lambda: asked.append(True))
    with django_capture_on_commit_callbacks(execute=True):
        begun(staff, sheet(1))
    assert asked == [True]


def test_the_lists_that_wait_are_found_by_their_index(staff: Client) -> None:
    finished(staff, sheet(1))
    with CaptureQueriesContext(
        connection,
    ) as seen:
        assert imports_waiting(limit=9) == []
    with connection.cursor() as cursor:
        cursor.execute(
            "EXPLAIN "
            + ("QUERY PLAN " if connection.vendor == "sqlite" else "")
            + seen.captured_queries[0]["sql"]
        )
        plan = str(cursor.fetchall())
    assert connection.vendor != "sqlite" or "order_import_waiting" in plan


@pytest.mark.django_db(transaction=True)
def test_two_pages_open_on_one_list_take_each_line_in_once(scene: Scene) -> None:
    clients = [person_api(scene.staff).client for _ in range(2)]
    way = begun(clients[0], sheet(2 * LINES_AT_ONCE))
    answers = at_once(
        *(lambda client=client: client.post(f"{way}/go-on", headers=HTMX) for client in clients)
    )
    assert [answer.status_code for answer in answers] == [200, 200]
    kept = OrderImport.objects.get()
    assert kept.finished_at is not None
    assert len({answer["job_id"] for answer in kept.answers}) == 2 * LINES_AT_ONCE
    assert Job.objects.count() == 2 * LINES_AT_ONCE


def test_a_step_that_fails_midway_leaves_nothing_and_can_be_taken_again(
    staff: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    way = begun(staff, sheet(3))
    taken = []
    original = intake.line_take

    def break_down(caller: Any, number: int, *line: Any) -> Any:
        taken.append(number)
        if number == 3:
            raise RuntimeError("The machine went off.")
        return original(caller, number, *line)

    with monkeypatch.context() as patched:
        patched.setattr(intake, "line_take", break_down)
        with pytest.raises(RuntimeError):
            staff.post(f"{way}/go-on")
    assert taken == [1, 2, 3]
    assert not Job.objects.exists()
    staff.post(f"{way}/go-on")
    assert Job.objects.count() == 3


def test_a_wrong_line_stops_none_of_the_others_and_stands_first_with_what_to_do(
    scene: Scene, staff: Client
) -> None:
    there = posted(scene.dealer_api(), registration="JX19 KLM", dealer_ref="X")
    html = page(staff, finished(staff, sheet(2, "P-1,,", "P-2,JX19KLM,", "P-3,UT70FEN,no_such")))
    said = words(html)
    assert "2 of 5 cars are with the workshop; 3 were refused." in said
    assert said.index("Give the registration or the vin") < said.index("With the workshop 2")
    assert "Unknown: no_such" in said
    assert f'href="/dashboard/cars/{there["id"]}"' in html
    assert Job.objects.count() == 3


def test_refused_lines_come_back_with_the_reason_and_can_be_sent_again_as_they_are(
    staff: Client,
) -> None:
    way = finished(staff, sheet(1, "P-3,UT70FEN,full_valet;no_such", '"P, 4",TJ17HND,no_such'))
    answer = staff.get(f"{way}/refused.csv")
    assert answer.headers["Content-Type"] == "text/csv; charset=utf-8"
    text = answer.content.decode()
    rows = list(csv.DictReader(io.StringIO(text)))
    assert [row["registration"] for row in rows] == ["UT70FEN", "TJ17HND"]
    assert rows[0]["operations"] == "full_valet;no_such"
    assert "Unknown: no_such" in rows[0]["reason"]
    again = page(staff, finished(staff, text.replace("no_such", "touch_in")))
    assert "2 of 2 cars are with the workshop." in words(again)
    assert Job.objects.get(dealer_ref="P, 4").operations == ["touch_in"]


def test_a_refused_line_is_no_formula_in_a_spreadsheet_and_comes_back_as_it_was(
    staff: Client,
) -> None:
    way = finished(staff, sheet(0, "=1+1,UT70FEN,no_such", "'ab,TJ17HND,no_such"))
    text = staff.get(f"{way}/refused.csv").content.decode()
    assert [row["dealer_ref"] for row in csv.DictReader(io.StringIO(text))] == ["'=1+1", "'ab"]
    page(staff, finished(staff, text.replace("no_such", "touch_in")))
    assert set(Job.objects.values_list("dealer_ref", flat=True)) == {"=1+1", "'ab"}


@pytest.mark.parametrize(
    ("content", "words_of_it"),
    [
        ("dealer_ref,registration\nPX-1,TU21 ÄBC".encode("latin-1"), "not UTF-8"),
        (b"", "empty"),
        (b"\n\n", "empty"),
        (b"PX-1,TU21ABC\nPX-2,TU21ABD", "The header is not right"),
        (b"dealer_ref,registration", "There are 0 lines"),
        (b"dealer_ref,colour\nPX-1,Red", "This column is missing"),
        (b"registration,registration\nA,B", "there twice"),
        (b'registration\n"TU21ABC', "cannot be read"),
        (b"registration\nTU21\0ABC", "not text"),
        (b"\x89PNG\r\n\x1a\n\0\0", "not UTF-8"),
        (sheet(MOST_LINES + 1).encode(), f"There are {MOST_LINES + 1} lines"),
        (b"registration,notes\nTU21ABC," + b"x" * 900_000, "larger than 900 KB"),
    ],
)  # fmt: skip
def test_a_bad_file_gets_a_clear_error(staff: Client, content: bytes, words_of_it: str) -> None:
    answer = sent(staff, content)
    assert answer.status_code == 400
    assert words_of_it in answer.content.decode()
    assert 'aria-invalid="true"' in answer.content.decode()
    assert not OrderImport.objects.exists()


def test_no_file_says_so(staff: Client) -> None:
    answer = staff.post(NEW)
    assert answer.status_code == 400
    assert "No file was chosen." in answer.content.decode()


def test_a_byte_order_mark_and_a_long_name_do_no_harm(staff: Client) -> None:
    answer = sent(staff, b"\xef\xbb\xbf" + sheet(1).encode(), f"{'x' * 200}.csv")
    assert answer.status_code == 303
    assert OrderImport.objects.get().file_name.endswith("x.csv")


def test_the_most_lines_are_taken_in_and_their_page_is_light(staff: Client) -> None:
    way = finished(staff, sheet(MOST_LINES))
    assert Job.objects.count() == MOST_LINES
    with CaptureQueriesContext(connection) as queries:
        answer = staff.get(way, headers={"Accept-Encoding": "gzip"})
    assert len(queries) <= MOST_QUERIES
    assert answer.headers["Content-Encoding"] == "gzip"
    assert len(answer.content) < 40_000


def test_a_list_not_finished_stands_under_the_form_to_go_on(staff: Client) -> None:
    way = begun(staff, sheet(2))
    html = page(staff, NEW)
    assert f'href="{way}"' in html
    assert "not finished" in words(html)


def test_markup_in_a_file_is_text(staff: Client) -> None:
    bad = "<script>alert(1)</script>"
    answer = sent(
        staff, sheet(0, f"{bad},TU21ABC,", f"{bad},{bad},{bad}"), f"{bad.replace('/', '')}.csv"
    )
    way = answer.headers["Location"]
    staff.post(f"{way}/go-on")
    html = page(staff, way)
    assert "<script>alert" not in html
    assert html.count("&lt;script&gt;alert") >= 3
    wrong = sent(staff, f"{bad},registration\n1,2").content.decode()
    assert "<script>alert" not in wrong
    assert "&lt;script&gt;alert" in wrong


def test_another_dealers_list_is_not_there(scene: Scene, staff: Client) -> None:
    way = begun(staff, sheet(1))
    stranger = Person.objects.create_user(
        "una@staff.example", PASSWORD, name="Una", role="staff", organisation=scene.stranger_dealer
    )
    strangers_client = person_api(stranger).client
    for address in (way, f"{way}/refused.csv", f"/dashboard/imports/{NOWHERE}"):
        assert strangers_client.get(address).status_code == 404
    assert strangers_client.post(f"{way}/go-on").status_code == 404
    assert way not in page(strangers_client, NEW)
    assert not Job.objects.exists()


def test_the_workshop_sends_no_list(scene: Scene) -> None:
    owner = person_api(scene.owner).client
    assert owner.get(NEW).status_code == 403
    assert sent(owner, sheet(1)).status_code == 403
    assert Client().get(NEW).status_code == 401
    assert not re.findall("PX-0", str(OrderImport.objects.all()))
