"""Every kind of failure that the engine records has plain words and a next step."""

import ast
import inspect
import smtplib
import ssl
from collections.abc import Iterator
from types import ModuleType

import aiohttp
import pytest
from aiohttp.client_reqrep import ConnectionKey

from core.outbound import session
from core.outbound.addresses import AddressNotAllowedError
from notifications import words
from notifications.engine import letters, post, run
from notifications.services.secrets import UnreadableSecretError
from notifications.words import ARRIVED, OF_ERROR, UNKNOWN, advice_on

SENTENCE_MAKERS = (
    (session, ("in_plain_words", "_not_connected")),
    (post, ("_refused",)),
    (letters, ("in_plain_words",)),
)
KEY = ConnectionKey(
    host="stock.example", port=443, is_ssl=True, ssl=True,
    proxy=None, proxy_auth=None, proxy_headers_hash=None,
)  # fmt: skip
FAILURES: dict[str, Exception] = {
    "time": TimeoutError(),
    "name": aiohttp.ClientConnectorDNSError(KEY, OSError("no such name")),
    "certificate": aiohttp.ClientConnectorCertificateError(KEY, ssl.SSLCertVerificationError("x")),
    "tls": ssl.SSLError("no protocol in common"),
    "refused": aiohttp.ClientConnectorError(KEY, ConnectionRefusedError()),
    "private": aiohttp.ClientConnectorError(KEY, AddressNotAllowedError("10.0.0.7")),
    "unreachable": aiohttp.ClientConnectorError(KEY, OSError("No route to host")),
    "closed": aiohttp.ServerDisconnectedError(),
    "url": aiohttp.InvalidURL("https://"),
    "no http": aiohttp.ClientPayloadError("Not a status line"),
}


def beginnings(module: ModuleType, names: tuple[str, ...]) -> Iterator[str]:
    """Yield how each sentence begins that these functions can return, read from their source."""
    for name in names:
        for node in ast.walk(ast.parse(inspect.getsource(getattr(module, name)))):
            if isinstance(node, ast.Return) and node.value is not None:
                first = (node.value.values if isinstance(node.value, ast.JoinedStr)
                         else [node.value])[0]  # fmt: skip
                if isinstance(first, ast.Constant) and first.value:
                    yield str(first.value)


def test_every_sentence_that_the_engine_can_record_has_words_of_its_own() -> None:
    sentences = [
        beginning for module, names in SENTENCE_MAKERS for beginning in beginnings(module, names)
    ]
    sentences += [run.FAULT, letters.UNREADABLE, str(UnreadableSecretError())]
    assert len(sentences) > 15
    assert [sentence for sentence in sentences if not sentence.startswith(tuple(OF_ERROR))] == []


@pytest.mark.parametrize("kind", FAILURES)
def test_every_failure_of_the_network_is_told_with_what_to_do(kind: str) -> None:
    advice = advice_on(None, session.in_plain_words(FAILURES[kind]))
    assert advice != UNKNOWN
    assert advice.what.endswith(".")
    assert advice.next_step.endswith(".")


@pytest.mark.parametrize(
    ("error", "word"),
    [
        (smtplib.SMTPRecipientsRefused({"a@b.example": (550, b"No such user")}), "mailbox"),
        (smtplib.SMTPDataError(554, b"Looks like spam"), "did not take"),
        (TimeoutError(), "too long"),
        (ConnectionRefusedError(), "does not answer"),
        (OSError("Network is unreachable"), "disturbed"),
    ],
)
def test_every_refusal_of_the_mail_server_is_told(error: OSError, word: str) -> None:
    assert word in advice_on(None, letters.in_plain_words(error)).what


@pytest.mark.parametrize("status", [*range(300, 600)])
def test_every_refusing_status_has_words_and_a_next_step(status: int) -> None:
    advice = advice_on(status, post._refused(status))
    assert advice not in {UNKNOWN, ARRIVED}
    assert advice.what
    assert advice.next_step
    assert advice == advice_on(None, post._refused(status))  # where the sentence alone was kept


def test_what_arrived_asks_for_nothing() -> None:
    assert [advice_on(status, "") for status in (200, 204, 299)] == [ARRIVED] * 3


def test_no_two_kinds_of_failure_are_told_alike() -> None:
    sentences = [advice.what for advice in OF_ERROR.values() if advice is not words.REFUSED]
    assert len(set(sentences)) == len(sentences)
