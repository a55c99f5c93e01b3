"""Errors as RFC 9457 problems: what went wrong, and what to do next.

Services raise these; the API renders them as `application/problem+json` with a stable `type`.
`next_step` tells the caller what to do; `errors` lists every wrong field at once; further
members (the current state of a job, the moves allowed) ride in `extra`.
"""

from collections.abc import Mapping, Sequence
from typing import Any, ClassVar, TypedDict

MEDIA_TYPE = "application/problem+json"


class FieldError(TypedDict):
    """One wrong field: where it is (dots and indices for nesting), and what is wrong with it."""

    field: str
    message: str


class Problem(Exception):  # noqa: N818  RFC 9457 calls it a problem
    """Something the caller must know; subclasses fix the type, title and status."""

    slug: ClassVar[str] = "problem"
    title: ClassVar[str] = "Something went wrong"
    status: ClassVar[int] = 500
    next_step: str = "Try again later."

    def __init__(
        self,
        detail: str,
        *,
        next_step: str = "",
        errors: Sequence[FieldError] = (),
        extra: Mapping[str, Any] | None = None,
        headers: Mapping[str, str] | None = None,
    ) -> None:
        super().__init__(detail)
        self.detail = detail
        self.next_step = next_step or type(self).next_step
        self.errors = list(errors)
        self.extra = dict(extra or {})
        self.headers = dict(headers or {})

    def as_dict(self) -> dict[str, Any]:
        """Return the members of the problem document."""
        return {
            "type": f"urn:shutline:problem:{self.slug}",
            "title": self.title,
            "status": self.status,
            "detail": self.detail,
            "next_step": self.next_step,
            "errors": self.errors,
            **self.extra,
        }


class InvalidRequest(Problem):
    """The request's content cannot be used as it is."""

    slug, title, status = "invalid-request", "The request is not right", 400
    next_step = "Correct the fields named in errors and send the request again."


class NotSignedIn(Problem):
    """No usable key or sign-in came with the request."""

    slug, title, status = "not-signed-in", "Who is asking?", 401
    next_step = "Send `Authorization: Bearer <key>`, or sign in at /api/v1/session."


class NotAllowed(Problem):
    """The caller is known but may not do this."""

    slug, title, status = "not-allowed", "Not allowed", 403
    next_step = "Ask the owner of your organisation for a key or a role that may do this."


class PasswordNeeded(Problem):
    """The caller is known and may do this, but has to show that it is still them."""

    slug, title, status = "password-needed", "Your password is needed", 403
    next_step = "Sign in with your e-mail address and password, then try again."


class NotFound(Problem):
    """There is no such thing, or it belongs to somebody else."""

    slug, title, status = "not-found", "Not found", 404
    next_step = "Check the address and the identifier."


class WrongMethod(Problem):
    """The address exists but does not answer this method."""

    slug, title, status = "wrong-method", "Method not allowed", 405
    next_step = "Use one of the methods in the Allow header."


class NotAcceptable(Problem):
    """The caller asked for a form this service does not give."""

    slug, title, status = "not-acceptable", "No such form", 406
    next_step = "Ask for application/json."


class SlowRequest(Problem):
    """The request's body did not come in time."""

    slug, title, status = "slow-request", "The request came too slowly", 408
    next_step = "Send it again, in one go; over a slow line send less at once."


class Conflict(Problem):
    """The request does not fit the present state, which the answer shows."""

    slug, title, status = "conflict", "Does not fit the present state", 409
    next_step = "Look at the current state in this answer and decide again."


class Restored(Problem):
    """The cursor is from before the service was restored from a backup."""

    slug, title, status = "restored", "The service was restored from a backup", 409
    next_step = (
        "Read again from the start, without `after`, and keep the new cursor; then send again what "
        "you sent since the backup, with the same Idempotency-Key."
    )


class Gone(Problem):
    """It was here, and is not given out any more."""

    slug, title, status = "gone", "No longer", 410
    next_step = "Ask for it anew where you found this address."


class TooLarge(Problem):
    """The body is larger than this service reads."""

    slug, title, status = "too-large", "Too large", 413
    next_step = "Send less at once."


class WrongContentType(Problem):
    """The body is of a type this address does not read."""

    slug, title, status = "wrong-content-type", "Content type not read here", 415
    next_step = "Send application/json with a matching Content-Type header."


class KeyReused(Problem):
    """An Idempotency-Key came again with another request."""

    slug, title, status = "idempotency-key-reused", "Idempotency-Key used for another request", 422
    next_step = "Use a fresh Idempotency-Key for a new request; repeat the old one unchanged."


class TooManyRequests(Problem):
    """The caller is over its limit."""

    slug, title, status = "too-many-requests", "Too many requests", 429
    next_step = "Wait as long as the Retry-After header says."


class InternalProblem(Problem):
    """A fault of ours; the log has the details under the request's id."""

    slug, title, status = "internal", "A fault on our side", 500
    next_step = "Try again; if it stays, tell the operator the request_id."


class Unavailable(Problem):
    """The service cannot answer just now."""

    slug, title, status = "unavailable", "Not available just now", 503
    next_step = "Wait as long as the Retry-After header says, then try again."


class DiskFull(Unavailable):
    """Nothing can be kept, since the disk is full."""

    slug, title = "disk-full", "The disk is full"
    next_step = "Tell the operator to make room; what was sent is not kept, so send it again then."
