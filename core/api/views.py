"""The base of every API view: access per method, `Idempotency-Key` on every POST."""

from collections.abc import Callable
from functools import partial
from typing import Any, ClassVar

from django.http import HttpResponse, HttpResponseBase
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from core.api.caller import Access, Caller, caller_of
from core.api.serializers import StrictSerializer
from core.idempotency import answer_body, answer_once, check_key, fingerprint
from core.models import IdempotentAnswer

Handler = Callable[..., HttpResponseBase]


class ApiView(APIView):
    """A view that says, for each of its methods, who may call it.

    `access` maps the method's name to what it asks of the caller, HEAD asking what GET asks; a
    method without an entry is open to anyone, which only the sign-in and the public catalogue are.
    """

    access: ClassVar[dict[str, Access]] = {}
    keeps_answers: ClassVar[bool] = True
    # OPTIONS is not among them: DRF would describe a view to anyone who asks.
    http_method_names = ["get", "head", "post", "put", "patch", "delete"]

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Run DRF's checks, then put the answer-once wrapper in front of a POST that asks."""
        super().initial(request, *args, **kwargs)
        key = request.headers.get("Idempotency-Key")
        known = isinstance(request.auth, Caller)  # answers are kept by organisation
        if request.method == "POST" and key is not None and known and self.keeps_answers:
            check_key(key)
            # DRF looks the handler up after this method: an instance attribute wins.
            vars(self)["post"] = partial(
                self._post_once, key, getattr(self, "post", self.http_method_not_allowed)
            )

    def _post_once(
        self, key: str, handler: Handler, request: Request, *args: Any, **kwargs: Any
    ) -> HttpResponseBase:
        def work() -> HttpResponseBase:
            response = handler(request, *args, **kwargs)
            if isinstance(response, Response):
                self.finalize_response(request, response).render()
            return response

        answer = answer_once(
            organisation_id=caller_of(request).organisation_id,
            key=key,
            request_fingerprint=fingerprint(
                method=str(request.method),
                path=request.get_full_path(),
                content_type=request.content_type or "",
                body=request.body,
            ),
            work=work,
        )
        return stored_response(answer) if isinstance(answer, IdempotentAnswer) else answer

    def read(self, serializer: type[StrictSerializer], request: Request, **kwargs: Any) -> Any:
        """Validate the body and return its values; every field error is raised at once."""
        form = serializer(data=request.data, **kwargs)
        form.is_valid(raise_exception=True)
        return form.validated_data


def stored_response(answer: IdempotentAnswer) -> HttpResponse:
    """Return the first answer again, byte for byte."""
    response = HttpResponse(answer_body(answer), status=answer.status, headers=answer.headers)
    if "Content-Type" not in answer.headers:
        del response.headers["Content-Type"]  # an answer without a body has no type
    return response
