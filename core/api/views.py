"""The base of every API view: access per method, `Idempotency-Key` on every POST."""

from collections.abc import Callable
from functools import partial
from typing import Any, ClassVar

from django.http import HttpResponse, HttpResponseBase
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from core.api.caller import Access, caller_of
from core.api.serializers import StrictSerializer
from core.idempotency import answer_once, check_key, fingerprint
from core.models import IdempotentAnswer

Handler = Callable[..., HttpResponseBase]


class ApiView(APIView):
    """A view that says, for each of its methods, who may call it.

    `access` maps the method's name to what it asks of the caller; a method without an entry is
    open to anyone, which only the sign-in and the public catalogue are.
    """

    access: ClassVar[dict[str, Access]] = {}
    keeps_answers: ClassVar[bool] = True

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Run DRF's checks, then put the answer-once wrapper in front of a POST that asks."""
        super().initial(request, *args, **kwargs)
        key = request.headers.get("Idempotency-Key")
        if request.method == "POST" and key is not None and self.keeps_answers:
            check_key(key)
            # DRF looks the handler up after this method: an instance attribute wins.
            handler: Handler = self.post  # type: ignore[attr-defined]
            self.post = partial(self._post_once, key, handler)

    def _post_once(
        self, key: str, handler: Handler, request: Request, *args: Any, **kwargs: Any
    ) -> HttpResponseBase:
        def work() -> HttpResponseBase:
            response = self.finalize_response(request, handler(request, *args, **kwargs))
            return response.render() if isinstance(response, Response) else response

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
    return HttpResponse(bytes(answer.body), status=answer.status, headers=answer.headers)
