"""Work orders by form: a new one, a change, a cancellation."""

import re
from datetime import datetime
from typing import Any

import pytest
from django.test import Client
from django.utils.timezone import localtime, make_aware

from accounts.models import TradeAccount
from accounts.services import workshop_add
from core.clock import now
from jobs.work.models import HistoryEntry, Job, Operation
from tests.api.looked import page, words
from tests.api.steps import arrived, done, moved, posted
from tests.scene import Scene, person_api

pytestmark = pytest.mark.django_db
NEW = "/dashboard/new"


@pytest.fixture
def staff(scene: Scene) -> Client:
    return person_api(scene.staff).client


def once(client: Client) -> str:
    (word,) = re.findall(r'name="once" value="([^"]+)"', page(client, NEW))
    return str(word)


def send(client: Client, **typed: Any) -> Any:
    values = {"registration": "tu21abc", "operations": ["mini_valet"], "once": "1", **typed}
    return client.post(NEW, {name: value for name, value in values.items() if value is not None})


def test_a_car_is_sent_with_little_more_than_its_registration(scene: Scene, staff: Client) -> None:
    answer = send(staff, dealer_ref="PX-1", due_at="2099-03-05T16:00", notes="Dog hair.")
    job = Job.objects.get()
    assert answer.status_code == 303
    assert answer.headers["Location"] == f"/dashboard/cars/{job.pk}"
    assert (job.registration, job.operations, job.notes) == (
        "TU21 ABC",
        ["mini_valet"],
        "Dog hair.",
    )
    assert job.due_at == make_aware(datetime(2099, 3, 5, 16, 0))  # noqa: DTZ001  made aware here
    assert job.dealer == scene.dealer
    assert HistoryEntry.objects.first().actor == "Ines Okafor-Lind"  # type: ignore[union-attr]


def test_everything_a_system_can_send_can_be_typed(staff: Client) -> None:
    send(
        staff, vin="", make="Corvane", model="Lynd", colour="Grey", first_registered="2021-03-15",
        mileage="41250", mileage_unit="km", body_size="large", purpose="auction",
        operations=["full_valet", "touch_in"], cap_minutes="240", location="Bay 4", keys="Hook 2",
        supplied="Wheel trim\nAerial", contact_name="Ines", contact_phone="01",
        contact_email="i@b.example",
    )  # fmt: skip
    job = Job.objects.get()
    assert (job.mileage, job.mileage_unit, job.body_size, job.purpose) == (
        41250,
        "km",
        "large",
        "auction",
    )
    assert (job.cap_minutes, job.supplied) == (240, ["Wheel trim", "Aerial"])
    assert job.operations == ["full_valet", "touch_in"]


def test_what_is_doubtful_is_told_after_sending(staff: Client) -> None:
    answer = staff.post(
        NEW, {"registration": "TU21 ABC", "due_at": "2020-01-01T10:00", "once": "2"}, follow=True
    )
    said = words(answer.content.decode())
    assert "Sent." in said
    assert "This time is past." in said
    assert "No operation was asked for." in said


def test_every_wrong_field_is_named_at_once_and_nothing_typed_is_lost(staff: Client) -> None:
    answer = send(
        staff, registration="", due_at="soon", contact_email="nobody", colour="Slate grey",
        operations=["mini_valet", "touch_in"], cap_minutes="0", notes="<b>Dog</b>",
    )  # fmt: skip
    html = answer.content.decode()
    assert answer.status_code == 400
    for name in ("registration", "due_at", "contact_email", "cap_minutes"):
        assert f'href="#{name}"' in html, name
    assert 'value="Slate grey"' in html
    assert "&lt;b&gt;Dog&lt;/b&gt;" in html
    assert re.search(r'value="touch_in" checked', html)
    assert html.count("<details open>") == 3  # single operations, limit, contact
    assert not Job.objects.exists()


def test_a_second_order_for_a_car_says_which_there_is_and_leads_to_it(
    scene: Scene, staff: Client
) -> None:
    there = posted(scene.dealer_api())
    answer = send(staff, colour="Slate grey")
    html = answer.content.decode()
    assert answer.status_code == 409
    assert f'href="/dashboard/cars/{there["id"]}"' in html
    assert "TU21 ABC, PX-1042 is open already" in words(html)
    assert 'value="Slate grey"' in html
    assert Job.objects.count() == 1


def test_a_form_sent_twice_makes_one_order_and_leads_to_it_both_times(staff: Client) -> None:
    word = once(staff)
    first, second = send(staff, once=word), send(staff, once=word)
    assert first.status_code == second.status_code == 303
    assert first.headers["Location"] == second.headers["Location"]
    assert Job.objects.count() == 1


def test_going_back_and_typing_another_car_makes_another_order(staff: Client) -> None:
    word = once(staff)
    send(staff, once=word)
    assert send(staff, once=word, registration="JX19 KLM").status_code == 303
    assert Job.objects.count() == 2


def test_each_form_has_a_word_of_its_own(staff: Client) -> None:
    assert once(staff) != once(staff)


def test_the_workshop_is_chosen_first_where_there_are_several_and_offers_what_it_does(
    scene: Scene, staff: Client
) -> None:
    assert "Which workshop" not in page(staff, NEW)
    second_workshop = workshop_add(name="Otterslade Two")
    TradeAccount.objects.create(dealer=scene.dealer, workshop=second_workshop)
    own_operation(second_workshop, "tent_dry", "Dry the roof tent")
    choice = page(staff, NEW)
    assert f"{NEW}?workshop={second_workshop.pk}" in choice
    assert "Dry the roof tent" in page(staff, f"{NEW}?workshop={second_workshop.pk}")
    assert "Dry the roof tent" not in page(staff, f"{NEW}?workshop={scene.workshop.pk}")
    for wrong in ("", "rubbish", str(scene.stranger_workshop.pk)):
        unsaid = send(staff, workshop_id=wrong)
        assert unsaid.status_code == 400
        assert "Which workshop" in unsaid.content.decode()
    assert (
        send(staff, workshop_id=str(second_workshop.pk), operations=["tent_dry"]).status_code == 303
    )
    assert Job.objects.get().workshop == second_workshop


def own_operation(workshop: Any, code: str, name: str, **more: Any) -> None:
    said = {"name": name, "stage": "cleaning", "standard_minutes": 20, "updated_at": now(), **more}
    Operation.objects.update_or_create(workshop=workshop, code=code, defaults=said)


def test_what_the_workshop_hid_is_not_offered_and_refused_with_what_was_typed(
    scene: Scene, staff: Client
) -> None:
    own_operation(scene.workshop, "glass", "Clean all glass", hidden=True)
    assert 'value="glass"' not in page(staff, NEW)
    answer = send(staff, operations=["glass", "vacuum"], colour="Slate grey")
    assert answer.status_code == 400
    assert 'href="#operations"' in answer.content.decode()
    assert 'value="Slate grey"' in answer.content.decode()


def test_what_was_ordered_and_is_no_longer_offered_stays_ordered_by_a_change(
    scene: Scene, staff: Client
) -> None:
    job = arrived(scene, operations=["glass", "vacuum"])
    own_operation(scene.workshop, "glass", "Clean all glass", hidden=True)
    way = f"/dashboard/cars/{job['id']}/change"
    html = page(staff, way)
    assert re.search(r'value="glass" checked', html)
    assert "No longer offered" in html
    assert staff.post(way, {"operations": ["glass", "vacuum"], "notes": "Quick"}).status_code == 303
    assert Job.objects.get().operations == ["glass", "vacuum"]


def test_a_dealer_without_a_workshop_is_told_whom_to_ask(scene: Scene, staff: Client) -> None:
    scene.account.active = False
    scene.account.save()
    assert "Ask the workshop to add you" in page(staff, NEW)
    assert send(staff).status_code == 400


def test_a_change_sends_only_what_differs(scene: Scene, staff: Client) -> None:
    job = arrived(scene, notes="First line\nSecond", due_at="2099-03-05T16:00:30Z", keys="Hook 2")
    way = f"/dashboard/cars/{job['id']}/change"
    html = page(staff, way)
    assert re.search(r'value="wash_body" checked', html)
    (version,) = re.findall(r'name="version" value="(\d+)"', html)
    due = f"{localtime(Job.objects.get().due_at):%Y-%m-%dT%H:%M}"
    typed = {
        "version": version, "due_at": due, "keys": "Hook 3", "location": "", "supplied": "",
        "notes": "First line\r\nSecond", "operations": ["vacuum", "wash_body", "glass"],
    }  # fmt: skip
    assert staff.post(way, typed).status_code == 303
    entry = HistoryEntry.objects.get(kind="changed")
    assert {change["field"] for change in entry.data["changes"]} == {"keys", "operations"}
    assert Job.objects.get().due_at.second == 30  # type: ignore[union-attr]


def test_what_is_emptied_is_taken_off(scene: Scene, staff: Client) -> None:
    job = arrived(scene, notes="Dog hair", due_at="2099-03-05T16:00:00Z")
    way = f"/dashboard/cars/{job['id']}/change"
    assert (
        staff.post(
            way, {"operations": ["wash_body", "vacuum"], "due_at": "", "notes": ""}
        ).status_code
        == 303
    )
    kept = Job.objects.get()
    assert (kept.due_at, kept.notes) == (None, "")


def test_a_change_by_somebody_else_in_between_is_told_first(scene: Scene, staff: Client) -> None:
    job = arrived(scene)
    way = f"/dashboard/cars/{job['id']}/change"
    done(scene.dealer_api().patch(f"/work-orders/{job['id']}", {"notes": "Theirs"}))
    typed = {"version": str(job["version"]), "notes": "Mine", "operations": ["wash_body", "vacuum"]}
    answer = staff.post(way, typed)
    html = answer.content.decode()
    assert answer.status_code == 409
    assert "Somebody else changed this order meanwhile" in html
    assert "Mine" in html
    (version,) = re.findall(r'name="version" value="(\d+)"', html)
    assert staff.post(way, {**typed, "version": version}).status_code == 303
    assert Job.objects.get().notes == "Mine"


def test_a_car_that_moved_meanwhile_can_still_be_changed(scene: Scene, staff: Client) -> None:
    job = arrived(scene)
    moved(scene.workshop_api(), job, "cleaning")
    typed = {"version": str(job["version"]), "notes": "Mine", "operations": ["wash_body", "vacuum"]}
    assert staff.post(f"/dashboard/cars/{job['id']}/change", typed).status_code == 303


def test_a_wrong_change_is_shown_with_what_was_typed(scene: Scene, staff: Client) -> None:
    job = arrived(scene)
    answer = staff.post(f"/dashboard/cars/{job['id']}/change", {"due_at": "soon", "notes": "Mine"})
    assert answer.status_code == 400
    assert 'href="#due_at"' in answer.content.decode()
    assert "Mine" in answer.content.decode()


def test_cancelling_asks_first_and_says_what_becomes_of_the_car(
    scene: Scene, staff: Client
) -> None:
    job = arrived(scene)
    way = f"/dashboard/cars/{job['id']}/cancel"
    assert "The car stays at the workshop" in page(staff, way)
    assert Job.objects.get().cancelled_at is None
    answer = staff.post(way, {"reason": "Sold as it stands."}, follow=True)
    assert "have it taken away" in answer.content.decode()
    assert HistoryEntry.objects.get(kind="cancelled").reason == "Sold as it stands."


def test_an_order_that_has_ended_takes_no_change_and_no_second_end(
    scene: Scene, staff: Client
) -> None:
    job = posted(scene.dealer_api())
    way = f"/dashboard/cars/{job['id']}"
    assert staff.post(f"{way}/cancel").status_code == 303
    assert staff.post(f"{way}/cancel").status_code == 409
    changed = staff.post(f"{way}/change", {"notes": "Too late"})
    assert changed.status_code == 409
    assert "This order was cancelled." in changed.content.decode()
    assert "/change" not in page(staff, way)


def test_markup_in_an_order_is_text_in_its_forms(scene: Scene, staff: Client) -> None:
    bad = "<script>alert(1)</script>"
    job = arrived(scene, notes=bad, keys=bad, location=bad)
    for part in ("change", "cancel"):
        assert "<script>alert" not in page(staff, f"/dashboard/cars/{job['id']}/{part}")
    assert "<script>alert" not in send(staff, registration=bad, make=bad).content.decode()


def test_the_workshop_sends_no_cars(scene: Scene) -> None:
    owner = person_api(scene.owner).client
    assert owner.get(NEW).status_code == 403
    assert send(owner).status_code == 403
    assert not Job.objects.exists()
