"""What the other side said to one attempt, whichever way the notice went."""

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True)
class Answer:
    """The outcome of one attempt. An empty `error` means that the other side took the notice."""

    started_at: datetime
    milliseconds: int
    status: int | None = None  # of HTTP; None where no answer came, and for e-mail
    text: str = ""
    error: str = ""
    reason: str = ""  # the error's class, one of those in notifications/numbers.py
    ours: bool = False  # the operator's to mend: nothing was sent, and no attempt is spent
    retry_after: str | None = None
