"""The base of every API view: access per method, `Idempotency-Key` on every POST."""

from collections.abc import Callable, Collection, Mapping
from functools import partial
from typing import Any, ClassVar, TypeVar, overload

from django.conf import settings
from django.http import HttpResponse, HttpResponseBase
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from accounts.caller import Access, Caller, caller_of
from core.api.serializers import MAX_NAMED, Input, StrictSerializer
from core.idempotency import answer_body, answer_once, check_key, fingerprint
from core.models import IdempotentAnswer
from core.problems import InvalidRequest

T = TypeVar("T")
NO_STORE = "no-store, private"
TO_ASK_AGAIN = "no-cache, private"
Handler = Callable[..., HttpResponseBase]


class ApiView(APIView):
    """A view that says, for each of its methods, who may call it.

    `access` maps the method's name to what it asks of the caller, HEAD asking what GET asks. OPEN
    lets anyone in, as at the sign-in; a method without an entry is closed.
    """

    access: ClassVar[Mapping[str, Access | None]] = {}
    keeps_answers: ClassVar[bool] = True
    # For the OpenAPI document: by method, the statuses its access does not bring about.
    further_problems: ClassVar[dict[str, tuple[str, ...]]] = {}
    # What may follow the question mark, beside what the view's own filters and pages read.
    query_names: ClassVar[frozenset[str]] = frozenset()
    # OPTIONS is not among them: DRF would describe a view to anyone who asks.
    http_method_names = ["get", "head", "post", "put", "patch", "delete"]

    @classmethod
    def body_limit_bytes(cls) -> int:
        """Return the most bytes a request may bring; the middleware turns away longer ones."""
        return int(settings.BODY_LIMIT_BYTES)

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Run DRF's checks, then put the answer-once wrapper in front of a POST that asks."""
        if "Idempotency-Key" in request.headers:
            # A person's CSRF check parses the body as it streams; read it whole before that, or
            # its bytes are gone when they are needed for the fingerprint.
            _ = request.body
        super().initial(request, *args, **kwargs)
        refuse_unknown(request.query_params, self.query_names | read_by_list(self))
        key = request.headers.get("Idempotency-Key")
        known = isinstance(request.auth, Caller)  # answers are kept by organisation
        if request.method == "POST" and key is not None and known and self.keeps_answers:
            check_key(key)
            # DRF looks the handler up after this method: an instance attribute wins.
            vars(self)["post"] = partial(
                self._post_once, key, getattr(self, "post", self.http_method_not_allowed)
            )

    def finalize_response(self, request: Request, response: Any, *args: Any, **kwargs: Any) -> Any:
        """Finish the answer, and say who may keep it."""
        answer = super().finalize_response(request, response, *args, **kwargs)
        answer.headers.setdefault("Cache-Control", kept_how(request))
        return answer

    def _post_once(
        self, key: str, handler: Handler, request: Request, *args: Any, **kwargs: Any
    ) -> HttpResponseBase:
        def work() -> HttpResponseBase:
            response = handler(request, *args, **kwargs)
            if isinstance(response, Response):
                self.finalize_response(request, response).render()
            return response

        content_type, body = self.what_was_sent(request)
        answer = answer_once(
            organisation_id=caller_of(request).organisation_id,
            key=key,
            request_fingerprint=fingerprint(
                method=str(request.method),
                path=request.get_full_path(),
                content_type=content_type,
                body=body,
                scopes=caller_of(request).scopes,
            ),
            work=work,
        )
        return stored_response(answer) if isinstance(answer, IdempotentAnswer) else answer

    def what_was_sent(self, request: Request) -> tuple[str, bytes]:
        """Return the type and the bytes by which a request that is sent again is known."""
        return request.content_type or "", request.body

    @overload
    def read(self, serializer: type[Input[T]], request: Request, **kwargs: Any) -> T: ...

    @overload
    def read(self, serializer: type[StrictSerializer], request: Request, **kwargs: Any) -> Any: ...

    def read(self, serializer: type[StrictSerializer], request: Request, **kwargs: Any) -> Any:
        """Validate the body and return what it yields; every field error is raised at once."""
        form = serializer(data=request.data, **kwargs)
        form.is_valid(raise_exception=True)
        return form.validated_data


def kept_how(request: Request) -> str:
    """Return who may keep an answer that does not say so itself.

    A system may keep what it read, and ask with the ETag whether it is still current. A browser
    keeps nothing: it may be somebody else's after the sign-out.
    """
    caller = vars(request).get("_auth")  # not `auth`, which would ask again after a refusal
    by_browser = isinstance(caller, Caller) and caller.person_id is not None
    return NO_STORE if by_browser or request.method not in {"GET", "HEAD"} else TO_ASK_AGAIN


def read_by_list(view: Any) -> frozenset[str]:
    """Return the names in the query that a list's filters and pages read."""
    filters = getattr(view, "filterset_class", None)
    pages = getattr(view, "pagination_class", None)
    names = frozenset(filters.base_filters) if filters else frozenset()
    return names | {pages.cursor_query_param, pages.page_size_query_param} if pages else names


def refuse_unknown(sent: Collection[str], known: Collection[str]) -> None:
    """Raise InvalidRequest for parameters that nothing reads: a mistyped filter filters nothing."""
    unknown = sorted(name for name in sent if name not in known)
    if unknown:
        named = f"Known parameters: {', '.join(sorted(known))}." if known else "This call has none."
        raise InvalidRequest(
            f"There is no parameter {', '.join(unknown[:MAX_NAMED])} here. {named}",
            next_step="Leave out or correct the parameters named in errors.",
            errors=[
                {"field": name, "message": f"There is no such parameter. {named}"}
                for name in unknown[:MAX_NAMED]
            ],
        )


def stored_response(answer: IdempotentAnswer) -> HttpResponse:
    """Return the first answer again, byte for byte."""
    response = HttpResponse(answer_body(answer), status=answer.status, headers=answer.headers)
    if "Content-Type" not in answer.headers:
        del response.headers["Content-Type"]  # an answer without a body has no type
    return response
