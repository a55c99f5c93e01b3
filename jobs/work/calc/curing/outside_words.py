"""Until when a car is to be kept dry, and from when it can go outside: one text for every page."""

from collections.abc import Callable
from datetime import datetime

from jobs.work.calc.curing.outside import Code, Outside


def outside_words(outside: Outside, say: Callable[[datetime], str]) -> str:
    """Return it in whole sentences; `say` writes a moment in the workshop's own time."""
    if outside.code == Code.NOTHING_WAITS:
        return outside.reason
    sentences = [_keep_dry(outside, say), _go_outside(outside, say), outside.reason]
    if outside.hour_at is not None:
        sentences.append(f"That is about {say(outside.hour_at)}.")
    return " ".join(filter(None, sentences))


def _keep_dry(outside: Outside, say: Callable[[datetime], str]) -> str:
    if outside.keep_dry_until is None:
        return "Keep it from rain and frost: nobody can say until when."
    return f"Keep it from rain and frost until {say(outside.keep_dry_until)}."


def _go_outside(outside: Outside, say: Callable[[datetime], str]) -> str:
    """Return in words from when it can go out into dry weather, where that is sooner."""
    if outside.at is None:
        return "Leave it inside."
    if outside.cured_outside_at is None:
        return ""
    return (
        f"It can go outside from {say(outside.at)} while it stays dry: "
        f"out there it has cured by {say(outside.cured_outside_at)}."
    )
