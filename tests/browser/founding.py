"""Founds what the pages are tried on: `python -m tests.browser.founding` prints its links as JSON.

It runs in a process of its own, in the environment of the service that it is for.
"""

import json
import os
from datetime import timedelta
from decimal import Decimal
from io import BytesIO

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "core.settings")
django.setup()

from PIL import Image, ImageDraw  # noqa: E402  Django must be set up first

from accounts.caller import Caller, Scope, Side  # noqa: E402
from accounts.models import Person  # noqa: E402
from accounts.services import dealer_add, person_add, workshop_add  # noqa: E402
from core.clock import now  # noqa: E402
from core.ids import new_id  # noqa: E402
from jobs.work.models import WorkRequest  # noqa: E402
from jobs.work.selectors.requests.links import decision_url  # noqa: E402
from jobs.work.services.orders.orders import NewOrder, work_order_receive  # noqa: E402
from jobs.work.services.photographs.photographs import Shot, photo_add  # noqa: E402
from jobs.work.services.photographs.pictures import read_upload  # noqa: E402
from jobs.work.services.requests.requests import Proposal, request_open  # noqa: E402
from jobs.work.services.stages.moves import car_arrive  # noqa: E402

PURPOSES = ("look", "approve", "decline", "ask", "wrong", "plain")


def painted(colour: tuple[int, int, int]) -> bytes:
    """Return a drawing of a bonnet with marks on it."""
    image = Image.new("RGB", (1600, 1200), (196, 200, 204))
    pen = ImageDraw.Draw(image)
    pen.polygon([(150, 1100), (420, 250), (1180, 250), (1450, 1100)], fill=colour)
    for x, y in ((560, 520), (860, 700), (1010, 470)):
        pen.ellipse((x, y, x + 120, y + 80), fill=(214, 216, 208))
    file = BytesIO()
    image.save(file, "JPEG")
    return file.getvalue()


def main() -> None:
    """Make a car for every purpose, with a request that waits for its answer."""
    workshop = workshop_add(name="Fernhollow Valeting")
    account = dealer_add(name="Brackmoor Cars", workshop=workshop)
    manager, _ = person_add(
        organisation=workshop,
        email="milo@fernhollow.example",
        name="Milo Treen",
        role=Person.Role.MANAGER,
        password="long enough to keep",
    )
    scopes = frozenset(Scope)
    dealer = Caller(account.dealer.pk, Side.DEALER, scopes, "Stock system")
    valeter = Caller(workshop.pk, Side.WORKSHOP, scopes, manager.name, manager.pk)
    links = {}
    for index, purpose in enumerate(PURPOSES):
        request = propose(dealer, valeter, index, plain=purpose == "plain")
        links[purpose] = decision_url(request)
    print(json.dumps(links))  # noqa: T201  that is what it is for


def propose(dealer: Caller, valeter: Caller, index: int, *, plain: bool) -> WorkRequest:
    """Receive a car and open a request about it, with a price and pictures unless it is plain."""
    order = NewOrder(
        dealer_ref=f"PX-10{index}",
        registration=f"TU21 AB{'CDEFGHJ'[index]}",
        registration_key=f"TU21AB{'CDEFGHJ'[index]}",
        make="Corvane",
        model="Lynd 1.4",
        colour="Slate grey",
        operations=["wash_body"],
    )
    job = work_order_receive(caller=dealer, order=order)
    car_arrive(caller=valeter, job_id=job.pk, occurred_at=now())
    captions = () if plain else ("Bird lime on the bonnet, seen from the front", "")
    photos = [
        photo_add(
            caller=valeter,
            job_id=job.pk,
            shot=Shot(client_id=new_id(), moment="detail", caption=caption),
            upload=read_upload(painted((70 + 40 * number, 82, 96))),
            occurred_at=now(),
        )[0]
        for number, caption in enumerate(captions)
    ]
    proposal = Proposal(
        what="Machine-polish the bonnet and clean both headlamp lenses",
        why="The lacquer is dull where bird lime stood for some days. The lenses are yellow.",
        if_not_done="The marks stay, and will be seen in the sun.",
        operations=["polish_spot", "headlamps"],
        minutes=85,
        price=None if plain else Decimal("64.00"),
        answer_by=now() + timedelta(hours=20),
        hold=not plain,
        photo_ids=[photo.pk for photo in photos],
    )
    return request_open(caller=valeter, job_id=job.pk, proposal=proposal)


if __name__ == "__main__":
    main()
