"""A workshop edits its ready phrases: adds its own, rewords or hides ours, goes back to ours."""

from dataclasses import dataclass, fields

from django.db import IntegrityError, transaction

from accounts.caller import Caller
from core.clock import now
from core.left_out import LEFT_OUT, LeftOut, named
from core.problems import Conflict, NotFound
from jobs.work.models import Phrase
from jobs.work.selectors.findings.phrases import phrase_of
from jobs.work.words.findings import MOST_OWN, STANDARD


@dataclass(frozen=True, slots=True, kw_only=True)
class PhraseChange:
    """What changes of a phrase."""

    group: str | LeftOut = LEFT_OUT
    kind: str | LeftOut = LEFT_OUT
    weight: str | LeftOut = LEFT_OUT
    noticed: str | LeftOut = LEFT_OUT
    circumstance: str | LeftOut = LEFT_OUT
    advice: str | LeftOut = LEFT_OUT
    hidden: bool | LeftOut = LEFT_OUT


@dataclass(frozen=True, slots=True, kw_only=True)
class NewPhrase(PhraseChange):
    """A phrase of the workshop's own."""

    code: str
    group: str
    kind: str
    weight: str
    noticed: str


def phrase_add(*, caller: Caller, phrase: NewPhrase) -> Phrase:
    """Add a phrase of the workshop's own. Raises Conflict where the code is taken, or too many."""
    code = phrase.code
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
                workshop_id=caller.organisation_id, updated_at=now(), **named(phrase)
            )
    except IntegrityError as error:
        raise _taken(code) from error


@transaction.atomic
def phrase_change(*, caller: Caller, code: str, changes: PhraseChange) -> Phrase:
    """Reword or hide a phrase. A standard one is copied first and is the workshop's from then on.

    Raises NotFound.
    """
    ours, changed = _found(caller, code), named(changes)
    copied = {field.name: getattr(ours, field.name) for field in fields(PhraseChange)}
    phrase, _ = Phrase.objects.update_or_create(
        workshop_id=caller.organisation_id,
        code=code,
        defaults={**changed, "updated_at": now()},
        create_defaults={**copied, **changed, "updated_at": now()},
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
