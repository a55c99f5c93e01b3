"""What must be true of the books beyond counts: each app says how it looks at its own."""

from collections.abc import Callable, Iterable

# Yields a sentence for each thing that is wrong.
Audit = Callable[[], Iterable[str]]

_audits: list[Audit] = []


def register_audit(audit: Audit) -> None:
    """Have the books of a restored copy looked at by this too."""
    if audit not in _audits:
        _audits.append(audit)


def wrong_in_books(most: int) -> list[str]:
    """Return at most so many sentences about what is wrong in the database at hand."""
    found: list[str] = []
    for audit in _audits:
        for sentence in audit():
            found.append(sentence)
            if len(found) == most:
                return found
    return found
