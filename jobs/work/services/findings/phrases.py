"""A workshop edits its ready phrases: adds its own, rewords or hides ours, goes back to ours."""

from collections.abc import Mapping
from typing import Any

from django.db import IntegrityError, transaction

from accounts.caller import Caller
from core.clock import now
from core.problems import Conflict, NotFound
from jobs.work.models import Phrase
from jobs.work.selectors.findings.phrases import phrase_of
from jobs.work.words.findings import MOST_OWN, STANDARD

EDITABLE = ("group", "kind", "weight", "noticed", "circumstance", "advice", "hidden")


def phrase_add(*, caller: Caller, phrase: Mapping[str, Any]) -> Phrase:
    """Add a phrase of the workshop's own. Raises Conflict where the code is taken, or too many."""
    code = phrase["code"]
    if code in STANDARD:
        raise _taken(code)
    mine = Phrase.objects.filter(workshop_id=caller.organisation_id)
    if mine.exclude(code__in=STANDARD).count() >= MOST_OWN:
        raise Conflict(
            f"There are {MOST_OWN} phrases of your own, which is the most.",
            next_step="Delete some that nobody uses.",
        )
    try:
        with transaction.atomic():
            return Phrase.objects.create(
                workshop_id=caller.organisation_id, updated_at=now(), **phrase
            )
    except IntegrityError as error:
        raise _taken(code) from error


@transaction.atomic
def phrase_change(*, caller: Caller, code: str, changes: Mapping[str, Any]) -> Phrase:
    """Reword or hide a phrase. A standard one is copied first and is the workshop's from then on.

    Raises NotFound.
    """
    ours = _found(caller, code)
    copied = {name: getattr(ours, name) for name in EDITABLE}
    phrase, _ = Phrase.objects.update_or_create(
        workshop_id=caller.organisation_id,
        code=code,
        defaults={**changes, "updated_at": now()},
        create_defaults={**copied, **changes, "updated_at": now()},
    )
    return phrase


def phrase_remove(*, caller: Caller, code: str) -> None:
    """Delete a phrase of the workshop's own; a standard one goes back to our words.

    Raises NotFound. Doing it twice to a standard phrase is no error: it is in our words already.
    """
    _found(caller, code)
    Phrase.objects.filter(workshop_id=caller.organisation_id, code=code).delete()


def _found(caller: Caller, code: str) -> Phrase:
    phrase = phrase_of(caller.organisation_id, code)
    if phrase is None:
        raise NotFound("There is no such phrase, or it is not yours.")
    return phrase


def _taken(code: str) -> Conflict:
    return Conflict(
        f"There is a phrase {code} already.",
        next_step=f"Reword it with PATCH /api/v1/phrases/{code}, or choose another code.",
    )
