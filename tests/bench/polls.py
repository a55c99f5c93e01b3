"""Polls of pages by people who are signed in, against those of /ready by a key."""

import asyncio
import urllib.request

from accounts.models import Organisation, Person
from accounts.services import dealer_add, person_add, workshop_add
from core.clock import now
from jobs.work.models import Job, Task
from tests.bench.load import Call, rate
from tests.bench.report import Ratio
from tests.bench.scene import BenchScene
from tests.bench.web import POLLS, ROUNDS, etag_of, web_server
from tests.scene import PASSWORD, person_api

CARS = 60
TASKS = 5
PAGES = 200
LOOKS = {
    "desk": ("/desk/cars", Person.Role.OWNER),
    "tablet": ("/tablet/", Person.Role.VALETER),
    "dashboard": ("/dashboard/board", Person.Role.STAFF),
}


def measure(bench: BenchScene) -> list[Ratio]:
    """Return the ratios of unchanged and of changed pages of 60 cars."""
    cookies = furnish()
    with web_server() as url:
        return asyncio.run(_measure(url, bench, cookies))


async def _measure(url: str, bench: BenchScene, cookies: dict[str, str]) -> list[Ratio]:
    etag = etag_of(url, bench.headers)
    ready = Call("/api/v1/ready", 304, headers={**bench.headers, "If-None-Match": etag})
    bare = Call(f"/bare/fifty?dealer={bench.scene.dealer.pk}")
    ratios = []
    for name, (path, _) in LOOKS.items():
        headers = {"Cookie": f"sessionid={cookies[name]}", "HX-Request": "true"}
        anew = Call(path, headers=headers)
        unchanged, changed = [], []
        for _ in range(ROUNDS):
            base = await rate(url, ready, count=POLLS)
            tagged = {**headers, "If-None-Match": tag_of(url, path, headers)}
            unchanged.append((await rate(url, Call(path, 304, headers=tagged), count=POLLS), base))
            base = await rate(url, bare, count=PAGES)
            changed.append((await rate(url, anew, count=PAGES), base))
        ratios += [
            Ratio(f"unchanged poll of the {name}", "unchanged poll of /ready", unchanged, 0.8),
            Ratio(f"{name} of {CARS} cars anew", "bare view, values() and orjson", changed, None),
        ]
    return ratios


def tag_of(url: str, path: str, headers: dict[str, str]) -> str:
    """Return the ETag of a page as it is now."""
    request = urllib.request.Request(f"{url}{path}", headers=headers)  # noqa: S310  ours
    with urllib.request.urlopen(request) as answer:  # noqa: S310
        return str(answer.headers["ETag"])


def furnish() -> dict[str, str]:
    """Make a workshop with 60 cars, and return the sign-ins of those who look at them."""
    shop = workshop_add(name="Copperlow Valeting")
    dealer = dealer_add(name="Tarnhaugh Cars", workshop=shop).dealer
    moment = now()
    jobs = Job.objects.bulk_create(
        Job(
            dealer=dealer,
            workshop=shop,
            dealer_ref=f"P-{number}",
            registration=f"JU21 {number:03}",
            registration_key=f"JU21{number:03}",
            make="Corvane",
            model="Lynd 1.4",
            colour="Slate grey",
            stage=("intake", "cleaning", "correction", "curing")[number % 4],
            decision="accepted",
            version=5,
            arrived_at=moment,
            received_at=moment,
            updated_at=moment,
        )
        for number in range(CARS)
    )
    Task.objects.bulk_create(
        Task(job=job, operation="vacuum", name="Vacuum", stage="cleaning", planned_minutes=25)
        for job in jobs
        for _ in range(TASKS)
    )
    return {name: _signed_in(shop, dealer, role) for name, (_, role) in LOOKS.items()}


def _signed_in(shop: Organisation, dealer: Organisation, role: str) -> str:
    organisation = dealer if role == Person.Role.STAFF else shop
    email = f"{role}@copperlow.example"
    person, _ = person_add(
        organisation=organisation, email=email, name=f"A {role}", role=role, password=PASSWORD
    )
    return person_api(person).client.cookies["sessionid"].value
