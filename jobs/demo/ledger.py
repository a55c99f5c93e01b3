"""What should have been told, what arrived and what the feed says, and the comparison of them.

What should be told follows from the calls the demo made itself, never from the service's own
records, so that an event the service lost is noticed.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

GOOD = range(200, 300)


@dataclass(frozen=True, slots=True)
class Notice:
    """What a notice is about: no two events of the day share all of it."""

    type: str
    job_id: str
    version: int  # the job's, after what happened
    about: str = ""  # the id of what it tells of, where that leaves the job's version alone
    # It waits behind no earlier notice about the car, so it may come before them.
    apart: bool = field(default=False, compare=False)
    also_by: str = field(default="", compare=False)  # a channel beside the dealer's own


@dataclass(frozen=True, slots=True)
class FeedEntry:
    """One event as GET /events tells it."""

    id: str
    notice: Notice


@dataclass(frozen=True, slots=True)
class Receipt:
    """One try of the service to hand a notice over, as the receiver saw it."""

    id: str
    notice: Notice
    at: float  # seconds, time.monotonic()
    status: int  # what the receiver answered
    verified: bool
    text: str = field(default="", repr=False, compare=False)  # what it says: JSON, or the mail

    @property
    def taken(self) -> bool:
        """Return whether the receiver answered that it has the notice."""
        return self.status in GOOD


@dataclass(slots=True)
class Ledger:
    """Everything there is to compare at the end of the day."""

    cars: Mapping[str, str]  # job id: registration
    feeds: dict[str, Sequence[FeedEntry]] = field(default_factory=dict)  # by organisation
    due_in_feed: dict[str, list[Notice]] = field(default_factory=lambda: defaultdict(list))
    due_as: dict[str, list[Notice]] = field(default_factory=lambda: defaultdict(list))
    receipts: dict[str, Sequence[Receipt]] = field(default_factory=dict)  # by channel
    due_on_dashboard: list[Notice] = field(default_factory=list)
    on_dashboard: set[Notice] = field(default_factory=set)

    def faults(self) -> list[str]:
        """Return a sentence for everything that is missing or wrong; empty means all is well."""
        found: list[str] = []
        for organisation, due in self.due_in_feed.items():
            entries = self.feeds.get(organisation, ())
            found += self._feed_faults(organisation, due, entries)
        for channel, due in self.due_as.items():
            found += self._channel_faults(channel, due, self.receipts.get(channel, ()))
        found += [
            f"The dashboard never saw {self.named(notice)}."
            for notice in self.due_on_dashboard
            if notice not in self.on_dashboard
        ]
        return found

    def named(self, notice: Notice) -> str:
        """Return the words for a notice in a sentence."""
        car = self.cars.get(notice.job_id, notice.job_id)
        return f"{notice.type} of {car} (version {notice.version})"

    def _feed_faults(
        self, organisation: str, due: Iterable[Notice], entries: Sequence[FeedEntry]
    ) -> list[str]:
        where = f"The feed of {organisation}"
        found = self._count_faults(where, due, [entry.notice for entry in entries])
        twice = [number for number, times in Counter(e.id for e in entries).items() if times > 1]
        return found + [f"{where} gives the id {number} more than once." for number in twice]

    def _count_faults(self, where: str, due: Iterable[Notice], seen: Iterable[Notice]) -> list[str]:
        wanted, counted = Counter(due), Counter(seen)
        found = []
        for notice in dict.fromkeys([*wanted, *counted]):
            times, right = counted[notice], wanted[notice]
            if times < right:
                found.append(f"{where} lacks {self.named(notice)}.")
            elif times > right:
                often = {1: "unasked", 2: "twice"}.get(times, f"{times} times")
                found.append(f"{where} has {self.named(notice)} {often}.")
        return found

    def _channel_faults(
        self, channel: str, due: Iterable[Notice], receipts: Sequence[Receipt]
    ) -> list[str]:
        where = f"The {channel} receiver"
        found = self._count_faults(
            where, due, [receipt.notice for receipt in receipts if receipt.taken]
        )
        found += [
            f"{where} could not verify {self.named(receipt.notice)}."
            for receipt in receipts
            if not receipt.verified
        ]
        return found + self._identity_faults(where, receipts) + self._order_faults(where, receipts)

    def _identity_faults(self, where: str, receipts: Sequence[Receipt]) -> list[str]:
        """Check that the id is the event's: the same in every try, and the one in the feed."""
        known: dict[Notice, set[str]] = defaultdict(set)
        for entries in self.feeds.values():
            for entry in entries:
                known[entry.notice].add(entry.id)
        for receipt in receipts:
            known[receipt.notice].add(receipt.id)
        return [
            f"{where} and the feeds have {len(known[notice])} ids for {self.named(notice)}."
            for notice in dict.fromkeys(receipt.notice for receipt in receipts)
            if len(known[notice]) > 1
        ]

    def _order_faults(self, where: str, receipts: Sequence[Receipt]) -> list[str]:
        """Check that notices about one car were taken in the order of what happened to it."""
        last: dict[str, int] = {}
        apart = {notice for due in self.due_as.values() for notice in due if notice.apart}
        found = []
        for receipt in receipts:
            if receipt.taken and receipt.notice not in apart:
                if receipt.notice.version < last.get(receipt.notice.job_id, 0):
                    found.append(f"{where} got {self.named(receipt.notice)} after a later one.")
                last[receipt.notice.job_id] = receipt.notice.version
        return found
