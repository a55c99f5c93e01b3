"""Many work orders at once, as JSON and as CSV: every line is answered on its own."""

import csv
import io
from typing import Any

import pytest

from jobs.work.models import Job
from tests.api.steps import done, fields, posted, refused, told
from tests.scene import Api, Scene, order

CSV = {"Content-Type": "text/csv"}
MARKS = [f"TU21 AB{letter}" for letter in "CDEFGHJKLM"]


@pytest.fixture
def dealer(scene: Scene) -> Api:
    """Return the dealer's stock system."""
    return scene.dealer_api()


def send(api: Api, *orders: Any) -> Any:
    return done(api.post("/work-orders/batch", {"work_orders": list(orders)}))


def send_csv(api: Api, text: str) -> Any:
    return api.post("/work-orders/batch", text, headers=CSV)


def line(number: int, **changes: Any) -> dict[str, Any]:
    return order(dealer_ref=f"PX-{number}", registration=MARKS[number], **changes)


def test_every_line_becomes_a_job(dealer: Api) -> None:
    answer = send(dealer, line(0), line(1, due_at="2020-01-01T09:00:00Z"))
    assert (answer["received"], answer["refused"]) == (2, 0)
    assert [result["line"] for result in answer["lines"]] == [1, 2]
    assert [result["status"] for result in answer["lines"]] == [201, 201]
    assert answer["lines"][1]["remarks"] == [{"field": "due_at", "message": "This time is past."}]
    ids = {result["job_id"] for result in answer["lines"]}
    assert ids == {str(pk) for pk in Job.objects.values_list("pk", flat=True)}
    for job_id in ids:
        assert [name for name, _ in told({"id": job_id})] == [
            "work_order.received",
            "work_order.accepted",
        ]


@pytest.mark.parametrize(
    ("bad", "field"),
    [
        (None, "body"),
        ([], "body"),
        ("TU21 ABC", "body"),
        (7, "body"),
        ({}, "registration"),
        ({"registration": "TU21 ABZ", "colour": "x" * 41}, "colour"),
        ({"registration": "TU21 ABZ", "paint": "grey"}, "paint"),
        ({"registration": "TU21 ABZ", "notes": "a\u0000b"}, "notes"),
        ({"registration": "TU21 ABZ", "operations": ["full_valit"]}, "operations"),
        ({"registration": "TU21 ABZ", "due_at": "2027-03-01T09:00:00"}, "due_at"),
        ({"registration": "TU21 ABZ", "workshop_id": MARKS[0]}, "workshop_id"),
    ],
)
def test_a_bad_line_never_sinks_the_good_ones(dealer: Api, bad: Any, field: str) -> None:
    answer = send(dealer, line(0), bad, line(1))
    assert (answer["received"], answer["refused"]) == (2, 1)
    first, refused_line, last = answer["lines"]
    assert (first["status"], last["status"]) == (201, 201)
    assert (refused_line["status"], refused_line["job_id"]) == (400, None)
    assert [error["field"] for error in refused_line["problem"]["errors"]] == [field]
    assert Job.objects.count() == 2


def test_a_bad_line_names_all_its_wrong_fields(dealer: Api) -> None:
    bad = line(0, mileage=-1, purpose="show", due_at="soon", paint="grey")
    wrong = send(dealer, bad)["lines"][0]["problem"]["errors"]
    assert {error["field"] for error in wrong} == {"mileage", "purpose", "due_at", "paint"}


def test_a_line_for_a_car_that_is_open_shows_the_job_there_is(dealer: Api) -> None:
    first = posted(dealer, **line(0))
    answer = send(dealer, line(0), line(1), {**line(2), "registration": MARKS[1].lower()})
    assert [result["status"] for result in answer["lines"]] == [409, 201, 409]
    assert answer["lines"][0]["problem"]["existing_job_id"] == first["id"]
    assert answer["lines"][0]["problem"]["current"]["version"] == first["version"]
    assert answer["lines"][2]["problem"]["existing_job_id"] == answer["lines"][1]["job_id"]
    assert Job.objects.count() == 2


def test_a_nested_line_is_refused_alone(dealer: Api) -> None:
    nested: Any = "TU21 ABC"
    for _ in range(28):
        nested = [nested]
    for name in ("registration", "vin", "purpose", "workshop_id", "operations", "due_at"):
        answer = send(dealer, {"registration": "TU21 ABZ", name: nested}, line(0))
        assert answer["lines"][0]["status"] == 400


def test_five_hundred_lines_are_read_and_not_one_more(dealer: Api) -> None:
    many = [{"make": "Corvane"}] * 501
    assert fields(dealer.post("/work-orders/batch", {"work_orders": many})) == ["work_orders"]
    assert send(dealer, *many[:500])["refused"] == 500


@pytest.mark.parametrize("body", [{}, {"work_orders": []}, {"work_orders": "none"}])
def test_a_batch_without_lines_is_refused(dealer: Api, body: dict[str, Any]) -> None:
    assert fields(dealer.post("/work-orders/batch", body)) == ["work_orders"]


def test_a_repeated_batch_gets_the_first_answer(dealer: Api) -> None:
    key = {"Idempotency-Key": "batch-1"}
    body = {"work_orders": [line(0), {"make": "Corvane"}]}
    first = dealer.post("/work-orders/batch", body, headers=key)
    again = dealer.post("/work-orders/batch", body, headers=key)
    assert done(first)["received"] == 1
    assert again.content == first.content
    assert Job.objects.count() == 1


def test_the_template_lists_every_column_and_comes_back_as_a_good_order(dealer: Api) -> None:
    columns = done(dealer.get("/work-orders/columns"))["columns"]
    template = dealer.get("/work-orders/template")
    assert template.headers["Content-Type"].startswith("text/csv")
    text = template.content.decode()
    assert next(csv.reader(io.StringIO(text))) == [column["name"] for column in columns]
    assert all(column["meaning"] for column in columns)
    assert done(send_csv(dealer, text))["received"] == 1


@pytest.mark.parametrize("accept", ["text/csv", "*/*", "application/json"])
def test_the_template_is_given_to_who_asks_for_csv(dealer: Api, accept: str) -> None:
    answer = dealer.get("/work-orders/template", Accept=accept)
    assert answer.status_code == 200
    assert answer.content.startswith(b"dealer_ref,")


def test_a_csv_order_means_what_the_same_json_means(dealer: Api) -> None:
    text = (
        "registration,operations,supplied,mileage,cap_minutes,due_at,notes\r\n"
        'tu21abc, full_valet ; touch_in ,"Wheel trim; Paint",41250,240,2099-01-01T09:00:00Z,'
        '"Dog hair, in the boot"\r\n'
    )
    answer = done(send_csv(dealer, text))
    job = done(dealer.get(f"/jobs/{answer['lines'][0]['job_id']}"))
    assert job["registration"] == "TU21 ABC"
    assert job["operations"] == ["full_valet", "touch_in"]
    assert job["supplied"] == ["Wheel trim", "Paint"]
    assert (job["mileage"], job["mileage_unit"], job["cap_minutes"]) == (41250, "miles", 240)
    assert job["due_at"] == "2099-01-01T09:00:00Z"
    assert job["notes"] == "Dog hair, in the boot"


def test_columns_may_come_in_any_order_with_a_byte_order_mark_and_empty_lines(
    dealer: Api,
) -> None:
    text = "\ufeffmake , registration\n\nCorvane,TU21 ABC\n,,\nCorvane,TU21 ABD\n"
    answer = done(send_csv(dealer, text))
    assert [result["status"] for result in answer["lines"]] == [201, 201]


def test_a_bad_csv_line_never_sinks_the_good_ones(dealer: Api) -> None:
    text = (
        "registration,mileage\nTU21 ABC,1\nTU21 ABD,many\n,5\nTU21 ABE,7,extra\nTU21 ABF\n"
        "TU21 ABG,\n"
    )
    lines = done(send_csv(dealer, text))["lines"]
    assert [result["status"] for result in lines] == [201, 400, 400, 400, 201, 201]
    wrong = [[entry["field"] for entry in result["problem"]["errors"]] for result in lines[1:4]]
    assert wrong == [["mileage"], ["registration"], ["(cells beyond the last column)"]]


@pytest.mark.parametrize(
    ("header", "wrong"),
    [
        ("registration,colur", ["colur"]),
        ("registration,,make", ["(empty)"]),
        ("registration,make,make", ["make"]),
        ("make,model", ["registration or vin"]),
        ("mark;make", ["mark;make", "registration or vin"]),
        ("TU21 ABC", ["TU21 ABC", "registration or vin"]),
    ],
)
def test_a_wrong_header_names_the_columns(dealer: Api, header: str, wrong: list[str]) -> None:
    answer = send_csv(dealer, f"{header}\nTU21 ABC,grey\n")
    assert fields(answer) == wrong
    assert "dealer_ref, registration, vin" in answer.json()["detail"]
    assert "/work-orders/template" in answer.json()["next_step"]
    assert Job.objects.count() == 0


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"\n\n",
        b"registration\n",
        b'registration\n"TU21 ABC',
        b"registration\nTU21 \xff",
        b"registration\n" + b"x" * 200_000,
        b"registration\n" + b"TU21 ABC\n" * 501,
    ],
)
def test_a_csv_that_cannot_be_read_is_refused_whole(dealer: Api, body: bytes) -> None:
    answer = dealer.client.post(
        "/api/v1/work-orders/batch", body, content_type="text/csv", headers=dealer.headers
    )
    refused(answer, 400, "invalid-request")
    assert Job.objects.count() == 0


def test_a_csv_is_not_read_where_one_order_is_expected(dealer: Api) -> None:
    answer = dealer.post("/work-orders", "registration\nTU21 ABC\n", headers=CSV)
    refused(answer, 415, "wrong-content-type")
    assert not Job.objects.exists()
