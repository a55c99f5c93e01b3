"""What cures or dries on a car, in words that the workshop's and the dealer's pages share."""

from dataclasses import dataclass
from datetime import datetime

from jobs.work.models import WaitClock

DATA_SHEET = "The product's own data sheet outranks these times."
BASIS_WORDS = {
    WaitClock.Basis.FIXED: "The minutes set, whatever the air.",
    WaitClock.Basis.NOT_MEASURED: (
        "Nobody measured the air: reckoned with 15 to 20 °C in the workshop."
    ),
    WaitClock.Basis.MEASURED: "By the air that was measured.",
    WaitClock.Basis.GAPS: "By the air that was measured, with room for when it was not.",
}
HALTED_WORDS = {
    WaitClock.Halted.TOO_COLD: "too cold",
    WaitClock.Halted.TOO_DAMP: "too damp",
}
VERBS = {
    WaitClock.Kind.CURE: "cures",
    WaitClock.Kind.DRYING: "dries",
    WaitClock.Kind.FLASH_OFF: "flashes off",
}


@dataclass(frozen=True, slots=True)
class ShownClock:
    """One clock as it stands at a moment; its task was read with it."""

    clock: WaitClock
    at: datetime

    @property
    def name(self) -> str:
        """Return what it is: the product, or else the work."""
        use = getattr(self.clock, "use", None)
        return use.name if use is not None else self.clock.task.name

    @property
    def work(self) -> str:
        """Return the work it is of, where its name is another."""
        return self.clock.task.name if self.clock.task.name != self.name else ""

    @property
    def verb(self) -> str:
        """Return what it does."""
        return VERBS[WaitClock.Kind(self.clock.kind)]

    @property
    def halted(self) -> str:
        """Return why it stands still, or may, in air that nobody measures; or nothing."""
        if not self.clock.halted:
            return ""
        why = HALTED_WORDS[WaitClock.Halted(self.clock.halted)]
        return f"may stand still: {why}" if self.earliest_at else f"stands still: {why}"

    @property
    def earliest_at(self) -> datetime | None:
        """Return before when it is not done, where that is another moment than the latest."""
        earliest, ends = self.clock.earliest_at, self.clock.ends_at
        return earliest if earliest and (ends is None or earliest < ends) else None

    @property
    def by_hand(self) -> bool:
        """Return whether only somebody's hand ends it."""
        return self.clock.touch_test and self.clock.closed_at is None

    @property
    def to_test(self) -> bool:
        """Return whether it ought to be dry by now, and nobody has felt it yet."""
        return self.by_hand and self.clock.has_ended(self.at)

    @property
    def may_be_dry(self) -> bool:
        """Return whether it may be dry by now."""
        earliest = self.clock.earliest_at or self.clock.ends_at
        by_now = earliest is not None and earliest <= self.at
        return self.by_hand and by_now and not self.clock.has_ended(self.at)

    @property
    def basis(self) -> str:
        """Return what the times go by."""
        return BASIS_WORDS[WaitClock.Basis(self.clock.basis)]


def in_order(clocks: list[WaitClock], at: datetime) -> list[ShownClock]:
    """Return clocks with those that stand still first, then those to feel, then by their end."""
    waits = [ShownClock(clock, at) for clock in clocks]
    return sorted(
        waits,
        key=lambda wait: (
            not wait.halted,
            not wait.to_test,
            wait.clock.ends_at or wait.clock.started_at,
            wait.clock.pk,
        ),
    )
