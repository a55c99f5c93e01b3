"""What became of an attempt in plain words, with what to do: one table, and no database.

The engine records a status or a sentence; a page shows that, and beside it what stands here.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass

SUCCESS = range(200, 300)
REDIRECT = range(300, 400)
OWN_FAULT = range(400, 500)
KNOCK_AGAIN = "Nothing to do at once: it is tried again by itself, more and more seldom."
ASK_SYSTEM = "Ask whoever looks after the receiving system; show them this page."


@dataclass(frozen=True, slots=True)
class Advice:
    """What happened, in a sentence for somebody who runs no server, and the next step."""

    what: str
    next_step: str


ARRIVED = Advice("It arrived.", "")
OF_STATUS: Mapping[int, Advice] = {
    400: Advice(
        "The receiver could not read the notice.",
        f"Its program expects something else. {ASK_SYSTEM}",
    ),
    401: Advice(
        "The receiver does not believe that the notice comes from us.",
        "Most often its secret is an old one: rotate the secret here and enter the new one there.",
    ),
    403: Advice(
        "The receiver, or a guard in front of it, does not let us in.",
        "Have the guard let notices through; if the receiver checks the secret, enter it anew.",
    ),
    404: Advice(
        "There is nothing at this address.",
        "Check the address for a slip; if the receiver has moved, enter the new one here.",
    ),
    405: Advice(
        "The address is there but takes no notices: it does not answer POST.",
        "Check that this is the address for notices, not that of a page.",
    ),
    408: Advice("The receiver gave up waiting for the notice.", KNOCK_AGAIN),
    409: Advice(
        "The receiver says that the notice does not fit what it has.",
        f"It may have the notice already. {ASK_SYSTEM}",
    ),
    410: Advice(
        "The receiver says that it does not want these notices any more.",
        "If that is a mistake, mend the receiver, switch the endpoint on and send a test.",
    ),
    413: Advice("The notice is larger than the receiver takes.", ASK_SYSTEM),
    415: Advice(
        "The receiver does not take JSON.",
        f"It must accept the type application/json. {ASK_SYSTEM}",
    ),
    422: Advice("The receiver read the notice but could not use it.", ASK_SYSTEM),
    429: Advice(
        "The receiver wants fewer notices at once.",
        "Nothing to do: we go slower and send it later.",
    ),
    500: Advice(
        "The receiver had a fault of its own.",
        f"{KNOCK_AGAIN} If it lasts: {ASK_SYSTEM}",
    ),
    502: Advice(
        "The receiver's front door answers, but what is behind it does not.",
        f"Its program may be down. {KNOCK_AGAIN}",
    ),
    503: Advice("The receiver is closed for the moment.", KNOCK_AGAIN),
    504: Advice(
        "The receiver's front door answers, but what is behind it took too long.", KNOCK_AGAIN
    ),
}
REDIRECTED = Advice(
    "The receiver points to another address, and notices follow nobody elsewhere.",
    "Enter the new address here.",
)
REFUSED = Advice("The receiver refused the notice.", ASK_SYSTEM)
FAULTY = Advice("The receiver had a fault.", f"{KNOCK_AGAIN} If it lasts: {ASK_SYSTEM}")

# By the beginning of the sentence that the engine records where no answer came.
OF_ERROR: Mapping[str, Advice] = {
    "No answer within": Advice(
        "The receiver took too long to answer.",
        "It should take the notice, answer at once and do its work afterwards. It is tried again.",
    ),
    "The name ": Advice(
        "The name in the address leads nowhere.",
        "Check the address for a slip; a new name can take some hours to be known everywhere.",
    ),
    "The TLS certificate is not valid": Advice(
        "The receiver's certificate is not valid, so nobody can know that it is really theirs.",
        f"It may have run out or be for another name: it must be renewed. {ASK_SYSTEM}",
    ),
    "No TLS connection could be made": Advice(
        "The receiver and we found no way to talk in confidence (TLS).",
        f"It may be set up for http only, or be too old. {ASK_SYSTEM}",
    ),
    "The connection was refused": Advice(
        "Nobody listens at this address.",
        "Check that the receiving program runs, and that the port in the address is right.",
    ),
    "The address ": Advice(
        "The name leads to an address inside a private network, where notices do not go.",
        "Give an address that can be reached from the internet; the operator of this service can "
        "open a network of your own.",
    ),
    "No connection could be made": Advice(
        "No way to the receiver was found.",
        f"Its network may be down. {KNOCK_AGAIN} If it lasts: {ASK_SYSTEM}",
    ),
    "The connection was closed": Advice(
        "The receiver hung up before it answered.",
        f"It may have been restarting. {KNOCK_AGAIN} If it lasts: {ASK_SYSTEM}",
    ),
    "The URL cannot be used": Advice(
        "The address cannot be used.", "Check it for a slip, most of all the name in it."
    ),
    "The answer was not proper HTTP": Advice(
        "Something answers at this address, but not as a web server does.",
        "Check the port in the address.",
    ),
    "The receiver redirects": REDIRECTED,
    "The receiver answered": REFUSED,
    "The service could not make this notice": Advice(
        "A fault on our side: the notice could not be made.",
        "Tell the operator of this service; it is tried again meanwhile.",
    ),
    "No key in SHUTLINE_FIELD_KEYS": Advice(
        "A fault on our side: the secret to sign with cannot be read.",
        "Tell the operator of this service; if they cannot mend it, rotate the secret.",
    ),
    "The service cannot read what belongs to this e-mail": Advice(
        "A fault on our side: what belongs into this e-mail cannot be read.",
        "Tell the operator of this service; it is tried again meanwhile.",
    ),
    "The mail server refused the recipient": Advice(
        "The mail server knows no such mailbox, or takes nothing for it.",
        "Check the e-mail address for a slip; the mailbox may also be full.",
    ),
    "The mail server refused the connection": Advice(
        "Our mail server does not answer.",
        f"{KNOCK_AGAIN} If it lasts, tell the operator of this service.",
    ),
    "The mail server refused": Advice(
        "The mail server did not take the message.",
        "Read what it answered; if it says nothing useful, ask the operator of this service.",
    ),
    "The mail server did not answer": Advice(
        "Our mail server took too long.",
        f"{KNOCK_AGAIN} If it lasts, tell the operator of this service.",
    ),
    "The mail server could not be used": Advice(
        "The way to the mail server is disturbed.",
        f"{KNOCK_AGAIN} If it lasts, tell the operator of this service.",
    ),
}
UNKNOWN = Advice("It did not arrive.", f"{KNOCK_AGAIN} If it lasts: {ASK_SYSTEM}")
_STATUS_TOLD = re.compile(r"^The receiver \w+ \(?(\d{3})\b")


def advice_on(status: int | None, error: str) -> Advice:
    """Return the words for an attempt, from the status it got or the sentence it left.

    The longest beginning that fits is the one meant.
    """
    if status is None and (found := _STATUS_TOLD.match(error)):
        status = int(found[1])
    if status is not None:
        return _on_status(status)
    fitting = [beginning for beginning in OF_ERROR if error.startswith(beginning)]
    return OF_ERROR[max(fitting, key=len)] if fitting else UNKNOWN


def _on_status(status: int) -> Advice:
    if status in SUCCESS:
        return ARRIVED
    if status in REDIRECT:
        return REDIRECTED
    return OF_STATUS.get(status, REFUSED if status in OWN_FAULT else FAULTY)
