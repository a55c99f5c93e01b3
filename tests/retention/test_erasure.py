"""Erasure, proved by reading: afterwards no table, column or file has what was erased."""

import io
from pathlib import Path

import pytest
from axes.models import AccessAttempt
from django.contrib.admin.models import LogEntry
from django.contrib.auth import SESSION_KEY
from django.contrib.sessions.models import Session
from django.core.mail import send_mail
from django.core.management import CommandError, call_command
from pytest_django import Settings

from accounts.models import ApiKey, Device, KnownPlace, Organisation, Person
from accounts.services import device_add, key_add, place_note
from core.clock import now
from core.ids import new_id
from core.models import IdempotentAnswer
from core.problems import Conflict
from core.sealing import seal
from jobs.retention.models import Removal
from jobs.retention.services.organisations import organisation_erase
from jobs.retention.services.people import contact_erase, person_erase
from jobs.work.calc.stages.machine import replay
from jobs.work.models import FlowCar, HistoryEntry, Job, OrderImport, Spell, Task
from notifications.models import Delivery, Endpoint, Event
from tests.api.found import CLICK
from tests.api.steps import arrived, done, told_once
from tests.notifications.notices import add_webhook
from tests.retention.conftest import Marked
from tests.retention.marked import PRIVATE, WHICH, WORDS, told
from tests.retention.reading import places_of
from tests.scene import Scene, key_api, person_api

pytestmark = pytest.mark.django_db


@pytest.fixture
def scene(marked: Marked, settings: Settings) -> Scene:
    """Return the scene with ways in, and traces of people wherever the service leaves any."""
    settings.EMAIL_BACKEND = "django.core.mail.backends.filebased.EmailBackend"
    scene = marked.scene
    operator = Person.objects.create_superuser("op@desk.example", name="Oskar Pell")
    for person in (scene.manager, scene.staff):
        person_api(person)
        place_note(person_id=person.pk, address="192.0.2.7")
        AccessAttempt.objects.create(
            username=person.email, ip_address="192.0.2.7", failures_since_start=1
        )
        LogEntry.objects.create(user=operator, object_repr=person.name, action_flag=2)
        send_mail(f"For {person.name}", "Ready é", "notices@localhost", [person.email])
        scopes = ["jobs.read", "notices.manage"]
        place = person.organisation
        assert place is not None
        key_add(organisation=place, name=f"{person.name}'s", scopes=scopes[:1], made_by=person)
        endpoint = {"email": person.email, "event_types": ["job.ready"]}
        done(person_api(person).post("/email-recipients", endpoint))
        hook = add_webhook(person_api(person), description=f"{person.name} looks after it.")
        path = f"/webhook-endpoints/{hook['id']}"
        done(person_api(person).patch(path, {"state": "off"}))
        done(person_api(person).patch(path, {"state": "on"}))
        assert person_api(person).post(f"{path}/test").status_code == 202
    device_add(workshop=scene.workshop, name="Bay 2", person=scene.manager)
    answered_once(scene)
    told()
    return scene


def answered_once(scene: Scene) -> None:
    """Leave an answer to an Idempotency-Key that names people and cars."""
    job = arrived(scene, dealer_ref=f"PX-9-{WHICH}", registration="TU21 ABZ")
    work = person_api(scene.manager)
    key = {"Idempotency-Key": str(new_id())}
    done(work.post(f"/jobs/{job['id']}/findings", CLICK, key))
    key = {"Idempotency-Key": str(new_id())}
    body = {"reason": f"Towed {WORDS}", "confirm": True}
    done(work.post(f"/jobs/{job['id']}/collection", body, key))


def traces(*people: Person) -> set[str]:
    return places_of(*(word for person in people for word in (person.name, person.email)))


def signed_in() -> set[str]:
    """Return the ids of the people who are signed in, which a session keeps out of plain sight."""
    return {str(each.get_decoded().get(SESSION_KEY)) for each in Session.objects.all()}


@pytest.mark.parametrize("who", ["manager", "staff"])
def test_of_a_person_nothing_is_left_that_names_them(scene: Scene, who: str) -> None:
    person: Person = getattr(scene, who)
    key, pk = person.pk, str(person.pk)
    before = traces(person)
    assert {
        "accounts_person.email", "jobs_historyentry.actor", "axes_accessattempt.username",
        "django_admin_log.object_repr", "notifications_endpoint.address", "accounts_apikey.name",
        "notifications_event.body",
    } <= before  # fmt: skip
    of_the_workshop = {"accounts_device.added_by", "core_idempotentanswer.body"}
    assert who == "staff" or of_the_workshop <= before
    assert [place for place in before if place.endswith(".log")]
    steps = [entry.step for entry in HistoryEntry.objects.order_by("job", "number")]
    spells = Spell.objects.count()
    assert pk in signed_in()
    record = person_erase(person=Person.objects.get(pk=pk))
    assert places_of(person.name, person.email) == set()
    assert places_of(pk, pk.replace("-", "")) == set()
    assert record.step == Removal.Step.PERSON
    assert record.rows > 10
    after = [entry.step for entry in HistoryEntry.objects.order_by("job", "number")]
    assert after == steps
    assert Spell.objects.count() == spells
    assert pk not in signed_in()
    assert AccessAttempt.objects.count() == 1
    assert not ApiKey.objects.filter(made_by=key).exists()
    assert not KnownPlace.objects.filter(person=key).exists()


def test_who_is_at_work_is_refused(scene: Scene) -> None:
    Spell.objects.filter(person=scene.manager).update(ended_at=None)
    with pytest.raises(Conflict, match="is running"):
        person_erase(person=scene.manager)
    assert traces(scene.manager)


def test_a_stored_answer_still_stands_for_its_request(scene: Scene) -> None:
    kept = IdempotentAnswer.objects.count()
    person_erase(person=scene.manager)
    assert IdempotentAnswer.objects.count() == kept > 0


def test_others_keep_what_is_theirs(scene: Scene) -> None:
    before = traces(scene.staff, scene.valeter)
    person_erase(person=scene.manager)
    assert traces(scene.staff, scene.valeter) == before
    assert done(person_api(scene.owner).get("/jobs"))["results"]
    for event in Event.objects.all():
        told_once(event)


def test_the_only_owner_is_refused_and_nothing_goes(scene: Scene) -> None:
    before = traces(scene.owner)
    with pytest.raises(Conflict, match="only owner"):
        person_erase(person=scene.owner)
    assert traces(scene.owner) == before
    assert Person.objects.get(pk=scene.owner.pk).is_active


def test_somebody_without_a_sign_in_goes_by_what_was_written(scene: Scene) -> None:
    words = [f"{PRIVATE} Orrick", PRIVATE, "01632 960177", f"{PRIVATE.lower()}@brackmoor.example"]
    letter = seal(f"For {PRIVATE}".encode()).decode()
    Event.objects.filter(dealer=scene.dealer).update(letter=letter)
    assert len(places_of(*words)) > 20
    contact_erase(organisation=scene.dealer, words=words)
    assert places_of(*words) == set()
    assert "jobs_finding.noticed" in places_of(WORDS)
    assert Job.objects.filter(registration="TU21 ABC").exists()


@pytest.mark.parametrize("side", ["dealer", "workshop"])
def test_of_an_organisation_figures_are_left(scene: Scene, side: str) -> None:
    place: Organisation = getattr(scene, side)
    people, own = list(place.people.all()), [place.name, place.contact_email]
    OrderImport.objects.create(
        dealer=scene.dealer, person=scene.staff, file_name=f"{WORDS}.csv", started_at=now()
    )
    histories = {
        job.pk: ([entry.step for entry in job.history.order_by("number")], job.state)
        for job in Job.objects.all()
    }
    minutes = list(Task.objects.order_by("pk").values_list("actual_minutes", flat=True))
    flows = FlowCar.objects.count()
    record = organisation_erase(organisation=place)
    names = [word for person in people for word in (person.name, person.email)]
    assert places_of(*names) == set()
    assert places_of(PRIVATE, WORDS, WHICH, "TU21", *own) <= set(_of_the_others(side))
    assert (record.step, record.cars, record.files) == (side, 2, record.files)
    assert record.files >= 8
    for job in Job.objects.all():
        steps, state = histories[job.pk]
        assert [entry.step for entry in job.history.order_by("number")] == steps
        assert replay(steps) == job.state == state
    assert list(Task.objects.order_by("pk").values_list("actual_minutes", flat=True)) == minutes
    assert FlowCar.objects.count() == flows > 0


def _of_the_others(side: str) -> list[str]:
    """Return where a word may stand that the other side wrote of its own."""
    if side == "dealer":
        return []
    # The dealer's list, and the address of the dealer's contact, which goes with its notices.
    return ["jobs_orderimport.file_name", "notifications_endpoint.address"]


@pytest.mark.parametrize("side", ["dealer", "workshop"])
def test_every_way_in_and_out_ends_with_an_organisation(scene: Scene, side: str) -> None:
    place: Organisation = getattr(scene, side)
    other = scene.workshop if side == "dealer" else scene.dealer
    system, theirs = key_api(place), key_api(other)
    feed = done(theirs.get("/events"))["events"]
    organisation_erase(organisation=place)
    assert system.get("/jobs").status_code == 401
    assert not place.api_keys.exists()
    assert not place.people.exists()
    assert not Device.objects.filter(workshop=place).exists()
    assert not place.endpoints.exclude(secret="", old_secret="", state="off").exists()
    assert not Delivery.objects.filter(endpoint__organisation=place).exists()
    after = done(theirs.get("/events"))["events"]
    assert [each["position"] for each in after] == [each["position"] for each in feed]
    for event in Event.objects.all():
        told_once(event)
    assert Endpoint.objects.filter(organisation=other, state="on").exists()


def test_an_organisation_with_a_car_that_is_open_is_refused(scene: Scene) -> None:
    arrived(scene, dealer_ref="PX-77", registration="TU21 ABX")
    before = traces(scene.staff)
    with pytest.raises(Conflict, match="1 cars of Brackmoor Cars are open"):
        organisation_erase(organisation=scene.dealer)
    assert traces(scene.staff) == before
    assert key_api(scene.dealer).get("/jobs").status_code == 200


def run(*words: str) -> str:
    out = io.StringIO()
    call_command(*words, stdout=out)
    return out.getvalue()


def test_without_confirmation_it_only_says_what_would_go(scene: Scene) -> None:
    before = places_of(PRIVATE, scene.manager.name)
    said = run("erase_data", "--person", scene.manager.email)
    assert "jobs.HistoryEntry: " in said
    assert f"add --confirm '{scene.manager.email}'" in said
    assert "jobs.Job: 2" in run("erase_data", "--organisation", "Brackmoor Cars")
    assert "jobs.Job: 1" in run(
        "erase_data", "--organisation", "Brackmoor Cars", "--words", PRIVATE
    )
    assert places_of(PRIVATE, scene.manager.name) == before
    assert not Removal.objects.exists()


def test_the_command_erases_what_is_confirmed(scene: Scene) -> None:
    person = ["--person", scene.manager.email]
    with pytest.raises(CommandError, match="write --confirm"):
        run("erase_data", *person, "--confirm", "somebody else")
    assert traces(scene.manager)
    assert "Erased: " in run("erase_data", *person, "--confirm", scene.manager.email)
    assert traces(scene.manager) == set()
    assert Removal.objects.get().rows > 10


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ([], "either --person or --organisation"),
        (["--person", "nobody@x.example"], "Nobody signs in"),
        (["--person", "a@x.example", "--organisation", "Brackmoor Cars"], "either"),
        (["--organisation", "Brackmoor Cars", "--words", "ab"], "three characters"),
    ],
)
@pytest.mark.usefixtures("marked")
def test_it_says_what_is_missing(words: list[str], says: str, tmp_path: Path) -> None:
    for command in (["erase_data"], ["export_data", "--to", str(tmp_path / "x.zip")]):
        with pytest.raises(CommandError, match=says):
            run(*command, *words)


def test_the_record_of_an_erasure_names_nobody(scene: Scene) -> None:
    person_erase(person=scene.manager)
    row = dict(Removal.objects.values().get())
    assert {name for name, value in row.items() if isinstance(value, str)} == {"step", "place"}
    assert row["place"] == ""
