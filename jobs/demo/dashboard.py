"""A dealer's dashboard: it polls GET /ready all day long and remembers what it saw when."""

import time
from threading import Condition, Thread

from jobs.demo.client import Client, DemoError
from jobs.demo.ledger import Notice

POLL_SECONDS = 0.15
READY = "job.ready"


class Dashboard:
    """Polls from a thread of its own, with the ETag of the last answer."""

    def __init__(self, client: Client) -> None:
        self.client = client
        self.etag = ""
        self.fresh = 0
        self.unchanged = 0
        self.trouble = ""
        self._first_seen: dict[Notice, float] = {}
        self._changed = Condition()
        self._stopping = False
        self._thread = Thread(target=self._run, name="dashboard", daemon=True)

    def start(self) -> None:
        """Start polling."""
        self._thread.start()

    def stop(self) -> None:
        """Stop polling and wait for the last poll."""
        with self._changed:
            self._stopping = True
            self._changed.notify_all()
        if self._thread.is_alive():
            self._thread.join()

    def seen(self) -> dict[Notice, float]:
        """Return when (time.monotonic) each ready car first stood in an answer."""
        with self._changed:
            return dict(self._first_seen)

    def wait_for(self, notice: Notice, deadline: float) -> float | None:
        """Wait until the ready car was seen; return when it was, or None at the deadline."""
        with self._changed:
            patience = max(0.0, deadline - time.monotonic())
            self._changed.wait_for(lambda: notice in self._first_seen, timeout=patience)
            return self._first_seen.get(notice)

    def _run(self) -> None:
        while True:
            try:
                self._poll()
            except DemoError as error:
                self.trouble = str(error)
            with self._changed:
                if self._changed.wait_for(lambda: self._stopping, timeout=POLL_SECONDS):
                    return

    def _poll(self) -> None:
        known = {"If-None-Match": self.etag} if self.etag else {}
        answer = self.client.ask("GET", "/ready", headers=known)
        if answer.status == 304:  # noqa: PLR2004
            self.unchanged += 1
            return
        if answer.status != 200:  # noqa: PLR2004
            self.trouble = f"A poll of GET /ready was answered with {answer.status}."
            return
        now = time.monotonic()
        self.fresh += 1
        self.etag = answer.headers["ETag"]
        with self._changed:
            for car in answer.json["cars"]:
                notice = Notice(READY, car["id"], car["version"])
                self._first_seen.setdefault(notice, now)
            self._changed.notify_all()
