"""`Idempotency-Key`: a request that is repeated gets its first answer, and acts only once.

The record is written in the same transaction as the work. A second request with the same key,
even at the same moment, waits on the unique index until the first has committed and then gets
the stored answer; if the first died, its record died with it and the second does the work.
Answers are sealed at rest, since some of them show a secret that is kept nowhere else.
"""

import hashlib
from collections.abc import Callable, Iterable
from datetime import datetime, timedelta
from uuid import UUID

from django.conf import settings
from django.db import transaction
from django.http import HttpResponseBase

from core.clock import now
from core.models import IdempotentAnswer
from core.problems import Conflict, InvalidRequest, KeyReused
from core.sealing import CannotUnseal, seal, unseal

MAX_KEY_LENGTH = 255
KEPT_HEADERS = ("Content-Type", "Location", "ETag")


def fingerprint(
    *, method: str, path: str, content_type: str, body: bytes, scopes: Iterable[str] = ()
) -> str:
    """Return the SHA-256 (hex) of what makes a request the same request.

    The caller's scopes belong to it, because an answer shows what they allow: a colleague who
    may see less never gets the answer kept for one who may see more.
    """
    digest = hashlib.sha256()
    seen = " ".join(sorted(scopes)).encode()
    for part in (method.encode(), path.encode(), content_type.encode(), body, seen):
        digest.update(len(part).to_bytes(8, "big"))
        digest.update(part)
    return digest.hexdigest()


def check_key(key: str) -> None:
    """Refuse a key that is not 1 to 255 printable ASCII characters."""
    if not (0 < len(key) <= MAX_KEY_LENGTH and key.isascii() and key.isprintable()):
        raise InvalidRequest(
            "The Idempotency-Key header must be 1 to 255 printable ASCII characters.",
            next_step="Use a fresh UUID for each new request.",
            errors=[{"field": "Idempotency-Key", "message": "Not 1 to 255 printable characters."}],
        )


def answer_once(
    *,
    organisation_id: UUID,
    key: str,
    request_fingerprint: str,
    work: Callable[[], HttpResponseBase],
) -> IdempotentAnswer | HttpResponseBase:
    """Run `work` under the key and keep its answer, or return the answer kept earlier.

    Only answers below 300 are kept; an exception from `work` undoes the record as well.
    """
    with transaction.atomic():
        mine = IdempotentAnswer(
            organisation_id=organisation_id,
            key=key,
            fingerprint=request_fingerprint,
            created_at=now(),
        )
        same_key = IdempotentAnswer.objects.filter(organisation_id=organisation_id, key=key)
        # Two requests that both find an expired record queue here: only the first deletes it.
        same_key.filter(created_at__lte=_oldest()).delete()
        IdempotentAnswer.objects.bulk_create([mine], ignore_conflicts=True)
        kept = same_key.get()
        if kept.pk != mine.pk:
            return _same_request(kept, request_fingerprint)
        return _keep(kept, work())


def _keep(record: IdempotentAnswer, response: HttpResponseBase) -> HttpResponseBase:
    """Store a good answer in its record; drop the record of any other."""
    body: bytes = getattr(response, "content", b"")
    if response.status_code >= 300:  # noqa: PLR2004
        record.delete()
        return response
    record.status = response.status_code
    record.headers = {
        name: response.headers[name] for name in KEPT_HEADERS if name in response.headers
    }
    record.body = seal(body)
    record.save(update_fields=["status", "headers", "body"])
    return response


def answer_body(record: IdempotentAnswer) -> bytes:
    """Return the bytes of a kept answer. Raises Conflict where no key reads them any more."""
    try:
        return unseal(bytes(record.body))
    except CannotUnseal as error:
        raise Conflict(
            "This request was done before, but its first answer can no longer be read.",
            next_step="Look up what it made; do not send it again under another key.",
        ) from error


def _same_request(kept: IdempotentAnswer, request_fingerprint: str) -> IdempotentAnswer:
    if kept.fingerprint != request_fingerprint:
        raise KeyReused("This Idempotency-Key was used before with a different request.")
    return kept


def _oldest() -> datetime:
    return now() - timedelta(hours=settings.IDEMPOTENCY_HOURS)


def purge_expired() -> int:
    """Delete the answers older than the time they are kept; return how many."""
    deleted, _ = IdempotentAnswer.objects.filter(created_at__lt=_oldest()).delete()
    return deleted
