"""A bad line between a browser and the service: it loses answers, hangs, or answers itself."""

import re
import socket
import threading
import time
from contextlib import suppress
from typing import Self

from tests.patience import PATIENCE_SECONDS

CHUNK = 65536
HANG_SECONDS = 0.05
ACTIONS = (b"POST /api/v1/jobs/", b"POST /api/v1/workshop/climate")
KEY = re.compile(rb"(?i)idempotency-key: (\S+)")

NOT_MODIFIED = b"HTTP/1.1 304"


class BadLine:
    """Passes connections on to a port, but for what it is told to do to a tablet's actions.

    The answers to the next `cut` of them are lost on the way. The next ones get what stands in
    `instead`, as something between the two would answer, and never arrive. `keys` are the
    Idempotency-Keys of all that came. While `hang` is set, nothing gets through, and `held` counts
    what came: a tablet holds on to a Wi-Fi that is as good as gone. `unchanged` counts the answers
    that a page is as the browser has it.

    Use it with `with`; the address stays the same while the service behind it stops and starts.
    """

    def __init__(self, port_behind: int) -> None:
        self.port_behind = port_behind
        self.cut = 0
        self.lost = 0
        self.hang = False
        self.held = 0
        self.unchanged = 0
        self.instead: list[bytes] = []
        self.keys: list[bytes] = []
        self._losing: set[int] = set()
        self._counting = threading.Lock()
        self._listening = socket.create_server(("127.0.0.1", 0))
        self.url = f"http://127.0.0.1:{self._listening.getsockname()[1]}"

    def __enter__(self) -> Self:
        threading.Thread(target=self._accept, daemon=True).start()
        return self

    def __exit__(self, *_: object) -> None:
        self._listening.close()

    def mend(self) -> None:
        """Pass everything through from now on, and forget what was lost."""
        self.cut, self.lost, self.hang, self.instead = 0, 0, False, []

    def _accept(self) -> None:
        while True:
            try:
                browser, _ = self._listening.accept()
            except OSError:  # closed
                return
            threading.Thread(target=self._serve, args=(browser,), daemon=True).start()

    def _serve(self, browser: socket.socket) -> None:
        """Pass one connection on, a request at a time, until a side ends it."""
        with browser:
            try:
                place = ("127.0.0.1", self.port_behind)
                behind = socket.create_connection(place, timeout=PATIENCE_SECONDS)
            except OSError:
                return
            with behind, suppress(OSError):
                behind.settimeout(PATIENCE_SECONDS)
                answers = threading.Thread(target=self._answers, args=(behind, browser))
                answers.start()
                while sent := browser.recv(CHUNK):
                    if sent.startswith(ACTIONS):
                        self.keys += re.findall(
                            r"(?i)idempotency-key: (\S+)", sent.decode("latin-1")
                        )
                        if self.instead:
                            answer_itself(browser, self.instead.pop(0))
                            break
                        if self._is_to_be_cut():
                            self._losing.add(behind.fileno())
                    self.held += self.hang
                    while self.hang:
                        time.sleep(HANG_SECONDS)
                    behind.sendall(sent)
                behind.shutdown(socket.SHUT_WR)
                answers.join(PATIENCE_SECONDS)

    def _is_to_be_cut(self) -> bool:
        with self._counting:
            if not self.cut:
                return False
            self.cut -= 1
            return True

    def _answers(self, behind: socket.socket, browser: socket.socket) -> None:
        """Pass answers back; where one is to be lost, hang up as soon as it has been given."""
        with suppress(OSError):
            while got := behind.recv(CHUNK):
                self.unchanged += got.startswith(NOT_MODIFIED)
                if behind.fileno() in self._losing:
                    self._losing.discard(behind.fileno())
                    with self._counting:
                        self.lost += 1
                    break
                browser.sendall(got)
            browser.shutdown(socket.SHUT_RDWR)


def answer_itself(browser: socket.socket, answer: bytes) -> None:
    """Answer, and read what still comes, so that the answer is not lost with it."""
    browser.sendall(answer)
    browser.shutdown(socket.SHUT_WR)
    browser.settimeout(HANG_SECONDS * 10)
    while browser.recv(CHUNK):
        pass
