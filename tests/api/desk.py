"""Steps of the tests about the desk: people signed in to its pages, cars in every state."""

from datetime import timedelta
from typing import Any

from django.test import Client

from accounts.models import Person
from accounts.services import dealer_add
from core.clock import now
from tests.api.asking import asked, opened
from tests.api.steps import arrived, detail, done, moved, posted
from tests.scene import Scene, key_api, person_api

LETTERS = "ABCDEFGHJKLMNOPRSTUVWXYZ"
MOST_QUERIES = 12


def signed_in(person: Person) -> Client:
    """Return a browser in which the person is signed in."""
    return person_api(person).client


def mark(number: int) -> str:
    """Return a registration for each number, of a kind that was never issued."""
    first, rest = divmod(number, len(LETTERS) ** 2)
    second, third = divmod(rest, len(LETTERS))
    return f"TU21 {LETTERS[first]}{LETTERS[second]}{LETTERS[third]}"


def named(number: int, **changes: Any) -> dict[str, Any]:
    """Return the fields of an order that tell one car from all others."""
    return {"dealer_ref": f"PX-{number}", "registration": mark(number), **changes}


def text_of(answer: Any, status: int = 200) -> str:
    """Return the page as one line of text without its tags' white space."""
    assert answer.status_code == status, answer.content.decode()[:3000]
    return " ".join(answer.content.decode().split())


def awaited(scene: Scene, number: int = 900, name: str = "Larkholt Cars") -> Any:
    """Post an order that the workshop has to accept, from a dealer of its own."""
    account = dealer_add(name=name, workshop=scene.workshop, accepts_by_itself=False)
    return posted(key_api(account.dealer), **named(number))


def busy(scene: Scene, number: int) -> Any:
    """Make a car with something of everything: work, holds, findings, requests, clocks."""
    workshop, dealer = scene.workshop_api(), scene.dealer_api()
    changes = named(
        number,
        supplied=["Wheel trim"],
        operations=["wash_body", "vacuum", "wet_extraction"],
        due_at=now() + timedelta(hours=number % 40 - 5),
    )
    job = moved(workshop, arrived(scene, **changes), "cleaning")
    path = f"/jobs/{job['id']}"
    wash, vacuum, wet = detail(workshop, job)["tasks"]
    done(workshop.post(f"{path}/tasks/{wet['id']}/start"))
    done(workshop.post(f"{path}/tasks/{wet['id']}/finish"))
    done(person_api(scene.valeter).post(f"{path}/tasks/{wash['id']}/start"))
    done(workshop.post(f"{path}/tasks/{vacuum['id']}/start"))
    belonging = {"what": "item", "kept_at": "Shelf 2"}
    about = {"area": "dashboard", "kind": "belongings", "weight": "for_information"}
    done(workshop.post(f"{path}/findings", {**about, "noticed": "A scarf", "belonging": belonging}))
    brakes = {"area": "underside", "kind": "mechanical", "weight": "do_not_drive"}
    opened(workshop, job)
    asked(dealer, opened(workshop, job, what="Clean the lamps"))
    done(dealer.patch(f"/work-orders/{job['id']}", {"notes": "Keys are with Ines."}))
    done(workshop.post(f"{path}/findings", {**brakes, "noticed": "The pedal goes to the floor"}))
    done(workshop.post(f"{path}/holds", {"cause": "parts", "reason": "Trim to come."}))
    return done(workshop.get(path))
