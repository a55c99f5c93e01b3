"""Gives the dealer of a founded day a past: `python -m tests.browser.founding_events`.

So many things happened three days ago that a replay of them takes more than one piece.
"""

import json
import os
from datetime import timedelta

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "core.settings")
django.setup()

from django.db import transaction  # noqa: E402  Django must be set up first
from django.db.models import Max  # noqa: E402

from accounts.models import Organisation  # noqa: E402
from core.api.rendering import to_json  # noqa: E402
from core.clock import now  # noqa: E402
from core.ids import new_id  # noqa: E402
from notifications.catalogue import event_types  # noqa: E402
from notifications.models import Event  # noqa: E402
from notifications.services.replay import MOST_EVENTS  # noqa: E402

COUNT = MOST_EVENTS * 2 + 200
KIND = "job.arrived"


@transaction.atomic
def main() -> None:
    """Write them where the feed ends."""
    dealer = Organisation.objects.get(name="Brackmoor Cars")
    last = Event.objects.aggregate(last=Max("position"))["last"] or 0
    moment = now() - timedelta(days=3)
    data = event_types()[KIND].example_data
    body = to_json({"type": KIND, "timestamp": moment, "data": data}).decode()
    Event.objects.bulk_create(
        Event(
            type=KIND,
            dealer=dealer,
            subject_id=new_id(),
            occurred_at=moment,
            recorded_at=moment,
            body=body,
            position=last + number,
        )
        for number in range(1, COUNT + 1)
    )
    print(json.dumps({"count": COUNT}))  # noqa: T201  that is what it is for


if __name__ == "__main__":
    main()
