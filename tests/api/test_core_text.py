"""What cannot be seen in a text: never in a name, a notice, an e-mail or a file of lines."""

import csv
import io
from uuid import uuid4

import pytest
from rest_framework import serializers

from core.api.serializers import StrictSerializer
from core.spreadsheet import as_it_was, csv_text, shown_as_text
from core.text import one_line, visible, without_directions
from jobs.work.models import Job
from notifications.mail import notice_mail
from notifications.models import Event
from notifications.notice import Notice
from tests.scene import Scene, order, person_api

# UAX 9: the marks, embeddings, overrides and isolates of the bidirectional algorithm.
DIRECTIONS = [
    0x061C, 0x200E, 0x200F, 0x202A, 0x202B, 0x202C, 0x202D, 0x202E, 0x2066, 0x2067, 0x2068, 0x2069,
]  # fmt: skip
OTHERS = [0x01, 0x07, 0x1B, 0x7F, 0x9F, 0xAD, 0x200B, 0x2060, 0xFEFF, 0xFFF9, 0xE0041]
BREAKS = ["\n", "\r", "\r\n", "\t", "\u0085", "\u2028", "\u2029"]


@pytest.mark.parametrize("code", DIRECTIONS + OTHERS)
def test_what_cannot_be_seen_is_left_out(code: int) -> None:
    assert one_line(f"a{chr(code)}b") == "ab"
    assert visible(f"a{chr(code)}b\nc") == "ab\nc"


@pytest.mark.parametrize("code", DIRECTIONS)
def test_directions_are_left_out_of_what_is_sent(code: int) -> None:
    assert without_directions(f"a{chr(code)}é … “b” 车".encode()).decode() == "aé … “b” 车"


@pytest.mark.parametrize("parting", BREAKS)
def test_a_break_becomes_a_space_in_one_line(parting: str) -> None:
    assert one_line(f"a{parting}b") == "a b"


@pytest.mark.parametrize(
    "text", ["Łódź 車", "\u06cc\u200c\u0646", "👩\u200d🔧", "a\u00a0b", "", " x "]
)
def test_what_people_write_stays(text: str) -> None:
    assert one_line(text) == text
    assert visible(text) == text


class _Sent(StrictSerializer):
    short = serializers.CharField(max_length=200, required=False)
    long = serializers.CharField(max_length=300, required=False)
    words = serializers.ListField(child=serializers.CharField(max_length=40), required=False)
    secret = serializers.CharField(max_length=99, trim_whitespace=False, required=False)


def test_inputs_are_cleaned_in_one_place() -> None:
    sent = "a\u202eb\nc\u200b"
    form = _Sent(data={"short": sent, "long": sent, "words": [sent], "secret": sent})
    form.is_valid(raise_exception=True)
    assert form.validated_data == {
        "short": "ab c",
        "long": "ab\nc",
        "words": ["ab c"],
        "secret": sent,
    }
    for nothing in ("\u200b", "\u202e \n"):
        assert not _Sent(data={"short": nothing}).is_valid()
    assert not _Sent(data={"short": "a\x00b"}).is_valid()


@pytest.mark.django_db
def test_an_order_keeps_no_direction_and_no_forged_line(scene: Scene) -> None:
    sent = order(make="Tarn\u202e", model="Vale\r\nhttps://evil.example", dealer_ref="PX\u2067-9")
    answer = scene.dealer_api().post("/work-orders", sent)
    assert answer.status_code == 201
    job = Job.objects.get()
    assert (job.make, job.model, job.dealer_ref) == ("Tarn", "Vale https://evil.example", "PX-9")


@pytest.mark.django_db
def test_old_rows_are_cleaned_when_they_are_shown(scene: Scene) -> None:
    scene.dealer_api().post("/work-orders", order())
    Job.objects.update(make="Ta\u202ern", model="Va\u2066le")
    job = Job.objects.get()
    answer = scene.dealer_api().get(f"/jobs/{job.pk}")
    assert (answer.json()["make"], answer.json()["model"]) == ("Tarn", "Vale")
    page = person_api(scene.owner).client.get(f"/desk/cars/{job.pk}").content.decode()
    assert "Tarn" in page
    assert not any(chr(code) in page for code in DIRECTIONS)


@pytest.mark.django_db
def test_a_text_email_of_an_old_notice_has_no_forged_line(scene: Scene) -> None:
    scene.dealer_api().post("/work-orders", order(dealer_ref="PX-1"))
    event = Event.objects.latest("pk")
    forged = event.body.replace('"PX-1"', '"PX-1\\nPay to: https://evil.example\u202e"')
    assert forged != event.body
    notice = Notice(id=uuid4(), type=event.type, body=forged)
    message = notice_mail(notice=notice, address="a@b.example")
    assert not [line for line in str(message.body).splitlines() if line.startswith("Pay to")]
    assert "\u202e" not in str(message.body) + message.subject
    assert "\n" not in message.subject


@pytest.mark.parametrize("sign", ["=", "+", "-", "@", "\uff1d", "\uff0b", "\uff0d", "\uff20"])
@pytest.mark.parametrize(
    "before", ["", " ", "\t", '"', "'", "a;", "a,", "a\t", "a|", 'a;  "', "x\n"]
)
def test_no_beginning_of_a_cell_is_calculated_whatever_parts_cells(before: str, sign: str) -> None:
    cell = f"{before}{sign}1+1"
    line = csv_text([["head", cell]])
    for separator in ",;\t|":
        for row in csv.reader(io.StringIO(line, newline=""), delimiter=separator):
            for found in row:
                bare = found.lstrip(' \t"\u2018\u2019\u201c\u201d\r\n')
                assert not bare.startswith(tuple("=+-@\uff1d\uff0b\uff0d\uff20")), (separator, row)
    assert as_it_was(shown_as_text(cell)) == visible(cell)


@pytest.mark.parametrize("cell", ["PX-1042", "2027-03-01T09:00:00+00:00", "a=b", "one, two"])
def test_what_is_no_formula_stays_as_it_is(cell: str) -> None:
    assert shown_as_text(cell) == cell
    assert csv_text([[cell, 5, -3.5]]).endswith(",5,-3.5\r\n")
