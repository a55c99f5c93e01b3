"""Hands one notice to a mail server; blocking, so it runs in a thread, outside any transaction."""

import time
from smtplib import SMTPException, SMTPRecipientsRefused, SMTPResponseException

from core.clock import now
from core.counting import FAILED, GOOD
from core.sealing import CannotUnseal
from notifications.engine.answer import Answer
from notifications.letter import Letter
from notifications.mail import notice_mail
from notifications.notice import Notice
from notifications.numbers import EMAILS

UNREADABLE = "The service cannot read what belongs to this e-mail; its operator must mend its keys."


def send_letter(notice: Notice, address: str) -> Answer:
    """Send the event to the address; every refusal is an Answer, none an exception.

    A letter that no key opens is not sent: its link is the point of the e-mail. It waits until the
    operator has put the key back.
    """
    at, began = now(), time.monotonic()
    error, reason = "", ""
    try:
        letter = Letter.opened(notice.letter)
    except CannotUnseal:
        return Answer(at, 0, error=UNREADABLE, reason="key_missing", ours=True)
    try:
        notice_mail(notice=notice, address=address, letter=letter).send()
    except (SMTPException, OSError) as failure:
        error, reason = in_plain_words(failure), reason_of(failure)
    EMAILS.labels("notice", FAILED if error else GOOD).inc()
    took = round((time.monotonic() - began) * 1000)
    return Answer(at, took, error=error, reason=reason)


def reason_of(error: SMTPException | OSError) -> str:
    """Return the class of what went wrong, for logs and numbers."""
    refused = isinstance(error, (SMTPRecipientsRefused, SMTPResponseException))
    return "mail_refused" if refused else "mail_not_sent"


def in_plain_words(error: SMTPException | OSError) -> str:
    """Return what went wrong in a sentence for the recipient's owner."""
    match error:
        case SMTPRecipientsRefused():
            code, text = next(iter(error.recipients.values()))
            return f"The mail server refused the recipient: {code} {_decoded(text)}"
        case SMTPResponseException():
            return f"The mail server refused: {error.smtp_code} {_decoded(error.smtp_error)}"
        case TimeoutError():
            return "The mail server did not answer in time."
        case ConnectionRefusedError():
            return "The mail server refused the connection."
        case _:
            return f"The mail server could not be used: {error}"


def _decoded(text: bytes | str) -> str:
    return text if isinstance(text, str) else text.decode(errors="replace")
