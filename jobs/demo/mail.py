"""What stands at the other dealer's end: a real mail server, which knows each notice by its id."""

import asyncio
import time
from email import message_from_bytes, policy
from email.message import EmailMessage

from aiosmtpd.smtp import SMTP, Envelope, Session

from jobs.demo.client import Client
from jobs.demo.ledger import Notice, Receipt
from jobs.demo.receivers import HOST, Receiver, notice_in

EVENT_HEADER = "X-Shutline-Event"
TAKEN, REFUSED = 250, 550
UNKNOWN = Notice("unknown", "", 0)


class Lookup:
    """Finds out what an event is about, from the dealer's feed: a mail carries only the id."""

    def __init__(self, client: Client) -> None:
        self.client = client
        self._known: dict[str, Notice] = {}
        self._cursor = 0

    def notice(self, event_id: str) -> Notice:
        """Return what the event is about; UNKNOWN where the feed does not have it."""
        more = event_id not in self._known
        while more:
            page = self.client.get(f"/events?after={self._cursor}").json
            self._cursor, more = page["cursor"], page["more"]
            self._known.update({event["id"]: notice_in(event) for event in page["events"]})
        return self._known.get(event_id, UNKNOWN)


class MailReceiver(Receiver):
    """A mail server for the addresses in `lookups`, each with its dealer's feed."""

    def __init__(self) -> None:
        super().__init__("mail")
        self.lookups: dict[str, Lookup] = {}
        self._server: asyncio.Server | None = None

    async def open(self) -> None:
        self._server = await self._loop.create_server(
            lambda: SMTP(self, hostname="mail.dealers.example", loop=self._loop), HOST, 0
        )
        self.port = self._server.sockets[0].getsockname()[1]

    async def close(self) -> None:
        if self._server:
            self._server.close()
            await self._server.wait_closed()

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:  # noqa: N802  aiosmtpd calls it so
        """Take one message."""
        del server, session
        at = time.monotonic()
        message = message_from_bytes(envelope.original_content or b"", policy=policy.default)
        lookup = self.lookups.get("".join(envelope.rcpt_tos))
        ours = lookup is not None
        status = TAKEN if ours else REFUSED
        event_id = str(message.get(EVENT_HEADER, ""))
        # The look-up calls the service: not from the loop that takes the mail.
        notice = await asyncio.to_thread(lookup.notice, event_id) if lookup else UNKNOWN
        verified = ours and notice != UNKNOWN and self._names_itself(message, event_id)
        body = message.get_body(("plain",))
        text = body.get_content() if body else ""
        self.postbox.put(Receipt(event_id, notice, at, status, verified, text=text))
        return "250 Message accepted" if ours else "550 No such mailbox here"

    @staticmethod
    def _names_itself(message: EmailMessage, event_id: str) -> bool:
        """Return whether mail programs too can tell that a message is the same one again."""
        return str(message.get("Message-ID", "")).startswith(f"<{event_id}@")
