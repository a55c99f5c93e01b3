"""Forecasts fetched from the URLs that workshops set.

Core fetches (core.outbound.pull), never within a transaction, and nothing waits for it: whoever
needs a forecast takes the last good one with its age. A failure leaves a sentence and no more.
"""

import random
from datetime import datetime, timedelta
from uuid import UUID

from django.db import transaction

from core.clock import now
from core.outbound.sources import Fetched, Wanted
from core.problems import InvalidRequest
from jobs.work.models import ClimateSetup, Forecast
from jobs.work.selectors.air import forecasts_due
from jobs.work.services.air.forecasts import forecast_take
from jobs.work.services.air.readings import setup_for_change

# So many are fetched at the same time: a run lasts as long as the slowest source, not their sum.
AT_ONCE = 50
# Weather services make a forecast anew every hour or less often.
NEXT_AFTER = timedelta(minutes=60)
AGAIN_AFTER = timedelta(minutes=10)
# So that workshops set up at one moment do not ask one source at one moment for good.
JITTER = 0.2
# Longer than any run fetches; a worker that died in between leaves it to the next one.
CLAIMED_FOR = timedelta(minutes=5)
LONGEST_PROBLEM = 300


def forecasts_claim() -> list[Wanted]:
    """Return the addresses that are due and that this run fetches from."""
    moment = now()
    return [
        Wanted(workshop_id, url)
        for workshop_id, url, due_at in forecasts_due(moment, limit=AT_ONCE)
        if _claim(workshop_id, due_at, moment)
    ]


def _claim(workshop_id: UUID, due_at: datetime, moment: datetime) -> bool:
    """Return whether this run is the one that fetches; another may have found it due too."""
    mine = ClimateSetup.objects.filter(workshop_id=workshop_id, forecast_next_at=due_at)
    return mine.update(forecast_next_at=moment + CLAIMED_FOR) == 1


@transaction.atomic
def forecast_keep(wanted: Wanted, fetched: Fetched) -> None:
    """Take what came from a URL, or keep the sentence why nothing did, and say when to try again.

    What came from a URL that was replaced meanwhile is left.
    """
    setup = setup_for_change(wanted.owner_id)
    if setup.forecast_url != wanted.url:
        return
    problem = fetched.error
    if not problem:
        try:
            forecast_take(
                workshop_id=wanted.owner_id, document=fetched.value, way=Forecast.Way.PULLED
            )
        except InvalidRequest as error:
            problem = f"The URL answered something else than a forecast. {error.detail}"
    setup.forecast_tried_at = now()
    # It may quote the source, and PostgreSQL keeps no NUL in text.
    setup.forecast_problem = problem.replace("\x00", "\ufffd")[:LONGEST_PROBLEM]
    setup.forecast_next_at = setup.forecast_tried_at + _wait(failed=bool(problem))
    setup.save(update_fields=["forecast_tried_at", "forecast_problem", "forecast_next_at"])


def _wait(*, failed: bool) -> timedelta:
    whole = AGAIN_AFTER if failed else NEXT_AFTER
    return whole * (1 + random.uniform(0, JITTER))  # noqa: S311  no secret
