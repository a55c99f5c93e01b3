"""Forecasts fetched from the URLs that workshops set.

Fetching never happens within a transaction, and nothing waits for it: whoever needs a forecast
takes the last good one with its age. A failure leaves a sentence and no more.
"""

import random
from datetime import datetime, timedelta
from uuid import UUID

import structlog
from django.db import transaction

from core.clock import now
from core.problems import InvalidRequest
from jobs.models import ClimateSetup, Forecast
from jobs.selectors.climate import forecasts_due
from jobs.services.climate import setup_for_change
from jobs.services.climate_forecast import forecast_take
from core.outbound.fetch import Fetched, fetch_all

log = structlog.get_logger(__name__)

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


def forecasts_pull() -> None:
    """Fetch the forecasts that are due from their URLs, all at once, and take the good ones."""
    moment = now()
    due = [
        (workshop_id, url)
        for workshop_id, url, due_at in forecasts_due(moment, limit=AT_ONCE)
        if _claim(workshop_id, due_at, moment)
    ]
    for (workshop_id, url), fetched in zip(due, fetch_all([url for _, url in due]), strict=True):
        try:
            forecast_fetched(workshop_id=workshop_id, url=url, fetched=fetched)
        except Exception:  # one source that nobody foresaw must not keep the others from theirs
            log.exception("forecast_not_taken", workshop_id=str(workshop_id))


def _claim(workshop_id: UUID, due_at: datetime, moment: datetime) -> bool:
    """Say whether this run is the one that fetches; another one may have found it due as well."""
    mine = ClimateSetup.objects.filter(workshop_id=workshop_id, forecast_next_at=due_at)
    return mine.update(forecast_next_at=moment + CLAIMED_FOR) == 1


@transaction.atomic
def forecast_fetched(*, workshop_id: UUID, url: str, fetched: Fetched) -> None:
    """Take what came from a URL, or keep the sentence why nothing did, and say when to try again.

    What came from a URL that was replaced meanwhile is left.
    """
    setup = setup_for_change(workshop_id)
    if setup.forecast_url != url:
        return
    problem = fetched.error
    if not problem:
        try:
            forecast_take(workshop_id=workshop_id, document=fetched.value, way=Forecast.Way.PULLED)
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
