"""The link in the dealer's e-mail that answers a request: made here, and read here.

It carries the request and its round, signed. Each answer, question or reply raises the round or
closes the request, so a link answers once; it is worth nothing after the time the answer was
wanted by, which stands with the request.
"""

import base64
from dataclasses import dataclass
from datetime import datetime
from enum import Enum
from uuid import UUID

from django.conf import settings
from django.core.signing import BadSignature, Signer

from jobs.work.models import Photo, WorkRequest
from jobs.work.selectors.requests.requests import with_parts

_SALT = "jobs.requests.decision"
_ID_BYTES, _ROUND_BYTES = 16, 2


class Standing(Enum):
    """What a link is still good for."""

    GOOD = "good"
    USED = "used"  # its round is over, the request is still open
    CLOSED = "closed"
    OVERDUE = "overdue"


@dataclass(frozen=True, slots=True)
class DecisionLink:
    """A link that we signed, with the request it is about as it stands now."""

    request: WorkRequest
    round: int

    def standing(self, at: datetime) -> Standing:
        """Say what the link is good for at this moment."""
        if self.request.state == WorkRequest.State.LAPSED:
            return Standing.OVERDUE
        if self.request.state != WorkRequest.State.OPEN:
            return Standing.CLOSED
        if self.request.answer_by <= at:
            return Standing.OVERDUE
        return Standing.GOOD if self.round == self.request.round else Standing.USED


def decision_url(request: WorkRequest) -> str:
    """Return the address of the page that answers the request's present round."""
    value = request.pk.bytes + request.round.to_bytes(_ROUND_BYTES, "big")
    token = _signer().sign(base64.urlsafe_b64encode(value).decode())
    return f"{settings.PUBLIC_URL}/decide/{token}"


def decision_link(token: str) -> DecisionLink | None:
    """Return what a token stands for, with pictures and messages, or None for one not ours."""
    try:
        value = base64.urlsafe_b64decode(_signer().unsign(token))
        request_id = UUID(bytes=value[:_ID_BYTES])
    except (BadSignature, ValueError):  # binascii.Error is one
        return None
    request = (
        with_parts(WorkRequest.objects.filter(pk=request_id))
        .select_related("job__workshop", "job__dealer")
        .first()
    )
    return DecisionLink(request, int.from_bytes(value[_ID_BYTES:], "big")) if request else None


def photo_of_link(link: DecisionLink, photo_id: UUID) -> Photo | None:
    """Return one of the pictures of the link's request, or None."""
    return next((photo for photo in link.request.photos.all() if photo.pk == photo_id), None)


def _signer() -> Signer:
    return Signer(salt=_SALT, sep=".")
