"""Steps of the tests about requests for extra work."""

from datetime import timedelta
from typing import Any

import time_machine

from core.clock import now
from jobs.work.models import WorkRequest
from jobs.work.selectors.requests.links import decision_url
from tests.api.steps import done
from tests.scene import Api


def proposal(**changes: Any) -> dict[str, Any]:
    """Return a request that is right as it stands, with changes; None leaves a field out."""
    body = {
        "what": "Machine-polish the bonnet",
        "why": "It is dull where the bird lime was.",
        "if_not_done": "The marks stay.",
        "operations": ["polish_spot"],
        "minutes": 45,
        "answer_by": now() + timedelta(hours=4),
        "hold": False,
        **changes,
    }
    return {name: value for name, value in body.items() if value is not None}


def opened(api: Api, job: Any, **changes: Any) -> Any:
    """Open a request and return it."""
    return done(api.post(f"/jobs/{job['id']}/requests", proposal(**changes)))


def answer(api: Api, request: Any, word: str, **more: Any) -> Any:
    """Answer a request."""
    return api.post(f"/requests/{request['id']}/answer", {"answer": word, **more})


def asked(api: Api, request: Any, question: str = "Would a hand polish do?") -> Any:
    """Ask about a request and return it."""
    return done(answer(api, request, "ask", question=question))


def reply(api: Api, request: Any, text: str = "For a week or two only.", **more: Any) -> Any:
    """Reply to the question about a request."""
    return api.post(f"/requests/{request['id']}/reply", {"text": text, **more})


def withdraw(api: Api, request: Any, reason: str = "The marks came off.") -> Any:
    """Withdraw a request."""
    return api.post(f"/requests/{request['id']}/withdraw", {"reason": reason})


def read(api: Api, request: Any) -> Any:
    """Return a request as it stands."""
    return done(api.get(f"/requests/{request['id']}"))


def token_of(request: Any) -> str:
    """Return the token of the link that answers the request's present round."""
    return decision_url(WorkRequest.objects.get(pk=request["id"])).rpartition("/")[2]


def past_its_time(request: Any) -> time_machine.travel:
    """Return a journey to a moment after the answer was wanted."""
    until = WorkRequest.objects.get(pk=request["id"]).answer_by
    return time_machine.travel(until + timedelta(seconds=1), tick=False)
