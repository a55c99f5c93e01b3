"""Prints the day: one line for each thing that happened, and below it what was told to whom."""

import os
import sys
import textwrap
from collections.abc import Sequence

from jobs.demo.ledger import Receipt

WIDTH = 100
WHO = 16
CAR = 8
TEXT_AT = 5 + 2 + WHO + 2 + CAR + 2
CHANNEL = 10
TYPE = 20
MILLISECONDS = 8
GOOD_WORDS = {"webhook": "signature good", "mail": "id as in the feed"}


def line(text: str = "") -> None:
    """Print one line as it is; where nobody reads on, as in `demo | head`, end the demo."""
    try:
        print(text, flush=True)
    except BrokenPipeError:
        # What is still printed on the way out goes nowhere, instead of failing again.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        raise SystemExit(1) from None


def heading(text: str) -> None:
    """Print a heading over the full width."""
    line(f"\n-- {text} {'-' * (WIDTH - len(text) - 4)}\n")


def paragraph(text: str) -> None:
    """Print running text."""
    line(textwrap.fill(text, WIDTH))


def step(at: str, who: str, car: str, text: str) -> None:
    """Print what happened: device time, who, which car, what."""
    head = f"{at:<5}  {who:<{WHO}}  {car:<{CAR}}  "
    line(textwrap.fill(text, WIDTH, initial_indent=head, subsequent_indent=" " * TEXT_AT))


def under(text: str) -> None:
    """Print what belongs to the step above."""
    indent = " " * TEXT_AT
    line(textwrap.fill(text, WIDTH, initial_indent=indent, subsequent_indent=f"{indent}  "))


def told(channel: str, what: str, seconds: float | None, fate: str) -> None:
    """Print who was told what, how long after the call was sent, and how it went."""
    after = "" if seconds is None else f"{max(0.0, seconds) * 1000:,.0f} ms"
    mark = "> " if channel else "  "
    room = max(TYPE + MILLISECONDS - len(what), len(after) + 1)
    line(f"{'':{TEXT_AT}}{mark}{channel:<{CHANNEL}}{what}{after:>{room}}  {fate}")


def handed_over(kind: str, channel: str, tries: Sequence[Receipt], since: float) -> None:
    """Print one notice with every try to hand it over."""
    if not tries:
        told(channel, kind, None, "NOTHING CAME")
    for number, receipt in enumerate(tries, start=1):
        first = number == 1
        told(
            channel if first else "",
            kind if first else "",
            receipt.at - since,
            fate_of(channel, tries[:number]),
        )


def fate_of(channel: str, tries: Sequence[Receipt]) -> str:
    """Return how the last of these tries went."""
    *before, last = tries
    if not last.verified:
        return "NOT VERIFIED"
    if not last.taken:
        return f"answered {last.status}"
    if not before:
        return GOOD_WORDS[channel]
    same = {receipt.id for receipt in tries} == {last.id}
    return f"{GOOD_WORDS[channel]}, {'same id' if same else 'ANOTHER ID'}"


def counted(number: int, word: str) -> str:
    """Return a number with its word in the singular or plural."""
    return f"{number} {word}{'' if number == 1 else 's'}"
