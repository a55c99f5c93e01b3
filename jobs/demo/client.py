"""A small HTTP client: a system with its key, or a person signed in with cookie and CSRF token."""

import json
import urllib.error
import urllib.request
from collections.abc import Mapping
from dataclasses import dataclass
from email.message import Message
from http.cookiejar import CookieJar
from typing import Any

TIMEOUT_SECONDS = 60.0
API = "/api/v1"


class DemoError(Exception):
    """The day cannot go on; the message is one clear sentence."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What the service answered."""

    status: int
    headers: Message
    body: bytes

    @property
    def json(self) -> Any:
        """Return the body read as JSON; None where it is empty."""
        return json.loads(self.body) if self.body else None


class Client:
    """One caller of the API; `name` is who it is in the timeline."""

    def __init__(self, base: str, name: str, key: str = "") -> None:
        self.base = base
        self.name = name
        self.headers = {"Authorization": f"Bearer {key}"} if key else {}
        self.cookies = CookieJar()
        self.opener = urllib.request.build_opener(
            urllib.request.ProxyHandler({}),  # the service is on this machine
            urllib.request.HTTPCookieProcessor(self.cookies),
        )

    def sign_in(self, email: str, password: str) -> None:
        """Sign in as a person; later calls carry the session cookie and the CSRF token."""
        answer = self.post("/session", {"email": email, "password": password})
        self.headers = {"X-CSRFToken": answer.json["csrf_token"]}

    def ask(
        self,
        method: str,
        path: str,
        data: Any = None,
        *,
        headers: Mapping[str, str] | None = None,
    ) -> Answer:
        """Send one request to a path below /api/v1 and return the answer, whatever its status.

        A path may also be a whole address, as links are. `data` is sent as JSON; text and bytes
        are sent as they are, with the Content-Type in `headers`.
        """
        body = data.encode() if isinstance(data, str) else data
        if not isinstance(body, bytes):
            body = json.dumps(data).encode()
        request = urllib.request.Request(  # noqa: S310  always http, to our own child
            path if path.startswith(self.base) else f"{self.base}{API}{path}",
            method=method,
            data=None if data is None else body,
            headers={"Content-Type": "application/json", **self.headers, **(headers or {})},
        )
        try:
            with self.opener.open(request, timeout=TIMEOUT_SECONDS) as answer:
                return Answer(answer.status, answer.headers, answer.read())
        except urllib.error.HTTPError as error:
            with error:
                return Answer(error.code, error.headers, error.read())
        except OSError as error:
            raise DemoError(f"{self.name} got no answer to {method} {path}: {error}.") from error

    def expect(
        self,
        status: int,
        method: str,
        path: str,
        data: Any = None,
        *,
        headers: Mapping[str, str] | None = None,
    ) -> Answer:
        """Send one request that must be answered with this status. Raises DemoError otherwise."""
        answer = self.ask(method, path, data, headers=headers)
        if answer.status != status:
            shown = answer.body[:600].decode(errors="replace")
            raise DemoError(
                f"{self.name} sent {method} {path} and expected {status}, "
                f"but the service answered {answer.status}: {shown}"
            )
        return answer

    def get(self, path: str) -> Answer:
        """Read something that must be there."""
        return self.expect(200, "GET", path)

    def post(
        self,
        path: str,
        data: Any = None,
        *,
        status: int = 200,
        headers: Mapping[str, str] | None = None,
    ) -> Answer:
        """Post something that must be taken."""
        return self.expect(status, "POST", path, {} if data is None else data, headers=headers)
