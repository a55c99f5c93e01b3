"""A workshop's ready phrases: ours, in its own wording where it has one, and its own."""

from uuid import UUID

from jobs.work.models import Phrase
from jobs.work.words.findings import STANDARD
from jobs.work.words.findings import Phrase as ReadyPhrase


def phrases_of(workshop_id: UUID, *, hidden: bool = False) -> list[Phrase]:
    """Return the workshop's phrases, ours first; with `hidden` those it hid as well.

    Ours come as unsaved rows. The number is bounded: so many standard ones, and at most
    MOST_OWN of its own.
    """
    rows = {row.code: row for row in Phrase.objects.filter(workshop_id=workshop_id)}
    merged = [
        rows.pop(code) if code in rows else as_row(ready, workshop_id)
        for code, ready in STANDARD.items()
    ]
    merged += sorted(rows.values(), key=lambda row: (row.group, row.code))
    return [row for row in merged if hidden or not row.hidden]


def phrase_of(workshop_id: UUID, code: str) -> Phrase | None:
    """Return one phrase of the workshop, its own wording first; None where there is none."""
    row = Phrase.objects.filter(workshop_id=workshop_id, code=code).first()
    if row is None and code in STANDARD:
        return as_row(STANDARD[code], workshop_id)
    return row


def as_row(ready: ReadyPhrase, workshop_id: UUID) -> Phrase:
    """Return a standard phrase as the unsaved row of a workshop."""
    return Phrase(
        workshop_id=workshop_id,
        code=ready.code,
        group=ready.group,
        kind=ready.kind.value,
        weight=ready.weight.value,
        noticed=ready.noticed,
        circumstance=ready.circumstance,
        advice=ready.advice,
    )


def wording_of(phrase: Phrase) -> str:
    """Say whose words a phrase is in: standard, reworded (a standard one) or own."""
    if phrase.code not in STANDARD:
        return "own"
    return "standard" if phrase._state.adding else "reworded"  # noqa: SLF001  Django's documented
