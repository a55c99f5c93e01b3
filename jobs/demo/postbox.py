"""Where receivers put what came, and where the day waits for it."""

import time
from collections.abc import Callable, Iterable
from threading import Condition

from jobs.demo.ledger import Notice, Receipt


class Postbox:
    """Receipts of one channel in order of arrival; safe to use from several threads."""

    def __init__(self, channel: str) -> None:
        self.channel = channel
        self.on_receipt: Callable[[Receipt], None] | None = None
        self._receipts: list[Receipt] = []
        self._changed = Condition()

    def put(self, receipt: Receipt) -> None:
        """Add one receipt and wake whoever waits."""
        with self._changed:
            self._receipts.append(receipt)
            self._changed.notify_all()
        if self.on_receipt:
            self.on_receipt(receipt)

    def all(self) -> list[Receipt]:
        """Return every receipt so far."""
        with self._changed:
            return list(self._receipts)

    def tries_of(self, notice: Notice) -> list[Receipt]:
        """Return the tries to hand this notice over, in order."""
        return [receipt for receipt in self.all() if receipt.notice == notice]

    def wait_for(self, notices: Iterable[Notice], deadline: float) -> bool:
        """Wait until every notice was taken; say whether that was before the deadline."""
        wanted = set(notices)

        def complete() -> bool:
            return wanted <= {receipt.notice for receipt in self._receipts if receipt.taken}

        with self._changed:
            return self._changed.wait_for(complete, timeout=max(0.0, deadline - time.monotonic()))
