"""The working day with markup in every text that people and systems can send, each by its name."""

from typing import Any

from accounts.auth import caller_for_person
from accounts.models import Person
from accounts.services import dealer_add, device_add, key_add, person_add
from core.clock import now
from jobs.work.services.orders.imports import import_begin, import_keep
from notifications.models import Attempt, Delivery
from notifications.services.publish import events_publish
from tests.api.asking import asked, opened, reply
from tests.api.found import PAPERS, found
from tests.api.pictures import form
from tests.api.steps import detail, done
from tests.browser.day import Day, found_day
from tests.browser.founding import painted
from tests.scene import PASSWORD, person_api

# It leaves an attribute, begins a script, and makes an element that acts by itself.
MARKUP = '"><script>alert(1)</script>'
PICTURE = "'><img src=x onerror=alert(2)>"
NAMES: dict[str, str] = {}


def marked(name: str, longest: int = 80) -> str:
    """Return the text for a place: its name, and markup as far as it fits."""
    text = f"{name}{MARKUP}{PICTURE}"
    NAMES[name] = text if len(text) <= longest else f"{name}{MARKUP}"
    assert len(NAMES[name]) <= longest, name
    return NAMES[name]


def marked_day() -> Day:
    """Make the day, and put markup wherever the service takes text."""
    NAMES.clear()
    day = found_day()
    mark_people(day)
    mark_order(day)
    mark_work(day)
    mark_set_up(day)
    mark_notices(day)
    return day


def mark_people(day: Day) -> None:
    """Add people, another dealer, a tablet and a key with names that are markup."""
    Person.objects.filter(pk=day.scene.valeter.pk).update(name=marked("valeter"))
    day.scene.valeter.refresh_from_db()
    day.tam = person_api(day.scene.valeter)
    workshop, dealer = day.scene.workshop, day.scene.dealer
    for organisation, name in ((workshop, "colleague"), (dealer, "seller")):
        role = Person.Role.VALETER if organisation == workshop else Person.Role.STAFF
        email = f"{name}@marked.example"
        person_add(
            organisation=organisation, email=email, name=marked(name), role=role, password=PASSWORD
        )
    dealer_add(name=marked("organisation"), workshop=workshop)
    device_add(workshop=workshop, name=marked("device", 60), person=day.scene.owner)
    key_add(organisation=dealer, name=marked("key", 50), scopes=["jobs.read"])


def mark_order(day: Day) -> None:
    """Change the order of the car that stands for all."""
    changes: dict[str, Any] = {
        "dealer_ref": marked("reference", 60),
        "make": marked("make", 60),
        "model": marked("model"),
        "colour": marked("colour", 40),
        "location": marked("location", 120),
        "keys": marked("keys", 120),
        "contact_name": marked("contact_name"),
        "contact_phone": marked("contact", 40),
        "notes": marked("notes", 4000),
        "supplied": [marked("supplied", 120)],
    }
    done(day.dealer.patch(f"/work-orders/{day.cars['car']['id']}", changes))


def mark_work(day: Day) -> None:
    """Find, photograph, measure, propose, ask and hold."""
    car = day.cars["car"]
    sent = form(painted((90, 90, 90)), name=f"file{MARKUP}.jpg", caption=marked("caption", 200))
    headers = {"Content-Type": sent.content_type}
    shot = done(day.tam.post(f"/jobs/{car['id']}/photos", sent.content, headers))
    texts = {
        "noticed": marked("noticed", 500),
        "circumstance": marked("circumstance", 200),
        "advice": marked("advice", 500),
    }
    found(day.tam, car, photo_ids=[shot["id"]], **texts)
    belonging = {"what": "document", "kept_at": marked("place", 120)}
    found(day.tam, car, PAPERS, noticed=marked("belonging", 500), belonging=belonging)
    spot = {"panel": "bonnet", "material": "steel", "readings": [118, 119, 120]}
    day.act("car", "paint-readings", spots=[{**spot, "note": marked("spot", 200)}])
    proposal = {
        "what": marked("what", 200),
        "why": marked("why", 1000),
        "if_not_done": marked("otherwise", 500),
    }
    request = opened(day.milo, car, hold=False, **proposal)
    asked(day.dealer, request, marked("question", 1000))
    done(reply(day.milo, request, marked("reply", 1000)))
    day.places["request"] = request["id"]
    day.act("washed_car", "holds", cause="parts", reason=marked("hold", 500))
    version = detail(day.tam, day.cars["ready_car"])["version"]
    back = {"to": "cleaning", "version": version, "reason": marked("rework", 500)}
    day.act("ready_car", "moves", **back)


def mark_set_up(day: Day) -> None:
    """Add a phrase, an operation and a package, and a file of cars."""
    said = {"noticed": marked("phrase", 500), "group": marked("group", 40)}
    kind = {"code": "marked", "kind": "interior", "weight": "for_information"}
    done(day.milo.post("/phrases", {**kind, **said}))
    work = {"code": "marked_work", "stage": "cleaning", "standard_minutes": 20}
    caution = marked("caution", 500)
    done(
        day.milo.post("/operations", {**work, "name": marked("operation"), "own_caution": caution})
    )
    packed = {"code": "marked_pack", "operations": ["marked_work"], "name": marked("package")}
    done(day.milo.post("/packages", packed))
    mark_import(day)


def mark_import(day: Day) -> None:
    """Keep a file of cars whose only line was refused."""
    staff = caller_for_person(day.scene.staff)
    line = {
        "registration": MARKUP,
        "make": marked("line make", 60),
        "dealer_ref": "=1+1",
        "model": "-2",
        "colour": "@3",
        "keys": "+4",
        "notes": "\t=5",
    }
    kept = import_begin(caller=staff, file_name=marked("file name", 120), lines=[line])
    answer = {"job_id": "", "reasons": [marked("refusal", 200)], "next_step": "", "existing": ""}
    import_keep(kept=kept, answers=[answer])
    day.places["import"] = str(kept.pk)


def mark_notices(day: Day) -> None:
    """Add a webhook with markup in its address and note, whose receiver answers with markup."""
    url = f"http://127.0.0.1:9/?{marked('address', 400)}".replace(" ", "")
    NAMES["address"] = url
    endpoint = {"url": url, "description": marked("description", 200)}
    day.places["webhook"] = done(day.dealer.post("/webhook-endpoints", endpoint))["id"]
    done_test = day.dealer.post(f"/webhook-endpoints/{day.places['webhook']}/test")
    assert done_test.status_code == 202
    events_publish()
    delivery = Delivery.objects.get(event__only_endpoint__pk=day.places["webhook"])
    for status, error in ((500, ""), (None, f"The mail server refused: {marked('error', 200)}")):
        Attempt.objects.create(
            delivery=delivery,
            started_at=now(),
            milliseconds=12,
            status=status,
            answer=marked("answer", 1024) if status else "",
            error=error,
        )
