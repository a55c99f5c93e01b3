"""A car with a marked word in everything that people write about it, sent through the API.

PRIVATE stands in what is about people, WORDS in what is about the work, WHICH in what says which
car it is.
"""

from datetime import timedelta
from typing import Any

from core.clock import now
from jobs.work.models import Job
from notifications.models import Delivery
from notifications.services.publish import events_publish
from tests.api.asking import asked, opened, reply
from tests.api.found import PAPERS, STOP, acknowledge, clear, found
from tests.api.pictures import upload
from tests.api.steps import detail, done, moved, posted
from tests.api.test_walk_rounds import CAME, walk
from tests.scene import Api, Scene, person_api

PRIVATE, WORDS, WHICH = "Zvarnik", "Ostrelle", "Quimmeth"


def _posted(dealer: Api) -> Any:
    return posted(
        dealer,
        dealer_ref=f"PX-{WHICH}",
        supplied=[f"Wheel trim {WORDS}", f"Paint {WORDS}"],
        contact_name=f"{PRIVATE} Orrick",
        contact_phone="01632 960177",
        contact_email=f"{PRIVATE.lower()}@brackmoor.example",
        notes=f"Ring {PRIVATE} first.",
        location=f"Behind {PRIVATE}'s office",
        keys=f"With {PRIVATE}",
        operations=["wash_body", "polish_one_stage", "touch_in"],
    )


def marked_car(scene: Scene) -> Any:
    """Take a car from the order to its collection, with words wherever there may be any."""
    dealer, work = person_api(scene.staff), person_api(scene.manager)
    job = _posted(dealer)
    path = f"/jobs/{job['id']}"
    job = done(work.post(f"{path}/arrival"))
    picture = done(upload(work, job, caption=f"{PRIVATE} waves"))
    damage = {"area": "left_rear_door", "noticed": f"Dent by {PRIVATE}."}
    record = {**CAME, "damage": [{**damage, "photo_ids": [picture["id"]]}]}
    done(walk(work, job, {**record, "notes": f"{PRIVATE} saw it."}))
    for moment in ("before", "after"):
        done(upload(work, job, moment=moment, view="front"))
    _found(work, job, picture)
    job = detail(work, job)
    job = moved(work, job, "cleaning")
    _tasks_and_requests(dealer, work, job)
    _held(work, job)
    job = detail(work, job)
    change = {"notes": f"{PRIVATE} rang.", "version": job["version"]}
    job = done(dealer.patch(f"/work-orders/{job['id']}", change))
    _seen(work, job)
    job = _collected(work, detail(work, job))
    told()
    return job


def told() -> None:
    """Have every notice placed and handed over, as the workers would."""
    events_publish()
    Delivery.objects.update(state=Delivery.State.DELIVERED, finished_at=now())


def _found(work: Api, job: Any, picture: Any) -> None:
    papers = found(
        work,
        job,
        {
            **PAPERS,
            "noticed": f"A letter to {PRIVATE}.",
            "circumstance": f"{PRIVATE}'s visor",
            "advice": f"Ring {PRIVATE}.",
            "belonging": {"what": "document", "kept_at": f"Drawer {PRIVATE}"},
        },
    )
    back = f"/jobs/{job['id']}/belongings/{papers['belonging']['id']}/return"
    done(work.post(back, {"returned_to": f"{PRIVATE} Orrick"}))
    words = {"noticed": f"It clicks {WORDS}.", "circumstance": f"On lock {WORDS}"}
    stop = found(work, job, {**STOP, **words, "photo_ids": [picture["id"]]})
    said = {"told": f"{PRIVATE} by telephone", "note": f"{PRIVATE} knows."}
    done(acknowledge(work, stop, **said))
    done(clear(work, stop, by=f"{WORDS} Mobile Mechanics"))


def _tasks_and_requests(dealer: Api, work: Api, job: Any) -> None:
    task = detail(work, job)["tasks"][0]
    path = f"/jobs/{job['id']}/tasks/{task['id']}"
    done(work.post(f"{path}/start"))
    done(work.post(f"{path}/finish", {"note": f"{PRIVATE} helped."}))
    request = opened(
        work, job, what=f"Polish {WORDS}", why=f"Dull {WORDS}", if_not_done=f"Stays {WORDS}"
    )
    asked(dealer, request, f"Does {PRIVATE} know?")
    done(reply(work, request, f"{PRIVATE} does."))
    approval = {"answer": "approve", "note": f"{PRIVATE} said yes."}
    done(dealer.post(f"/requests/{request['id']}/answer", approval))


def _held(work: Api, job: Any) -> None:
    hold = {"cause": "parts", "reason": f"Waits for {WORDS}"}
    held = done(work.post(f"/jobs/{job['id']}/holds", hold))
    holds = [each for each in detail(work, held)["holds"] if not each["ended_at"]]
    done(work.post(f"/jobs/{job['id']}/holds/{holds[0]['id']}/release"))


def _seen(work: Api, job: Any) -> None:
    ticked = {"item": f"Paint {WORDS}", "state": "received", "note": f"From {PRIVATE}"}
    done(work.post(f"/jobs/{job['id']}/supplied", ticked))


def _collected(work: Api, job: Any) -> Any:
    job = moved(work, job, "ready")
    body = {"reason": f"Fetched {WORDS}", "confirm": True}
    return done(work.post(f"/jobs/{job['id']}/collection", body))


def closed_days_ago(job: Any, days: float) -> None:
    """Have a car collected so many days ago."""
    Job.objects.filter(pk=job["id"]).update(collected_at=now() - timedelta(days=days))
