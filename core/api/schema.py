"""How the OpenAPI document is made: problems, limits and headers are added to every operation."""

from typing import Any

from drf_spectacular.openapi import AutoSchema
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter

from core.problems import MEDIA_TYPE

PROBLEM_REF = {"$ref": "#/components/schemas/Problem"}
PROBLEM_TITLES = {
    "400": "The request is not right; `errors` names every field or parameter wrong or unknown.",
    "401": "No usable key or sign-in.",
    "403": "The caller may not do this; the answer names the scope or side that is missing.",
    "404": "No such thing, or it belongs to somebody else.",
    "406": "No such form.",
    "409": "Does not fit the present state, which the answer shows.",
    "410": "Not given out any more; the answer says where to begin, or to get a fresh link.",
    "413": "The body is over the limit.",
    "415": "The body's content type is not read here.",
    "422": "The Idempotency-Key was used before with a different request.",
    "429": "Over the limit; `Retry-After` says how long to wait.",
    "503": "Not available just now; `Retry-After` says how long to wait.",
}
WRITES = frozenset({"POST", "PUT", "PATCH", "DELETE"})
IDEMPOTENCY_KEY = OpenApiParameter(
    "Idempotency-Key",
    OpenApiTypes.STR,
    OpenApiParameter.HEADER,
    description=(
        "A fresh UUID for each new request. The same key with the same request within 168 hours "
        "gets the first answer again and changes nothing."
    ),
)
IF_NONE_MATCH = OpenApiParameter(
    "If-None-Match",
    OpenApiTypes.STR,
    OpenApiParameter.HEADER,
    description="The ETag of the answer you have; 304 with no body if it is still current.",
)


class ProjectAutoSchema(AutoSchema):
    """Adds what every operation shares to what its view declares."""

    def get_override_parameters(self) -> list[Any]:
        shared = []
        if self.method == "POST" and self._access() and getattr(self.view, "keeps_answers", False):
            shared.append(IDEMPOTENCY_KEY)
        if self.method == "GET":
            shared.append(IF_NONE_MATCH)
        return shared

    def get_summary(self) -> str | None:
        text = self.get_description() or ""
        return text.strip().split("\n", 1)[0].rstrip(".") or None

    def _access(self) -> Any:
        return getattr(self.view, "access", {}).get(str(self.method).upper())

    def _get_response_bodies(self, direction: Any = "response") -> dict[str, Any]:
        responses: dict[str, Any] = super()._get_response_bodies(direction)
        for code in self._problem_codes():
            responses.setdefault(
                code,
                {
                    "description": PROBLEM_TITLES[code],
                    "content": {MEDIA_TYPE: {"schema": PROBLEM_REF}},
                },
            )
        if self.method == "GET":
            responses.setdefault("304", {"description": "What you have is still current."})
        return dict(sorted(responses.items()))

    def _problem_codes(self) -> list[str]:
        codes = ["400", "406", "503"]
        if self._access():
            codes += ["401", "403", "429"]
        codes += getattr(self.view, "further_problems", {}).get(str(self.method), ())
        if "{" in self.path:
            codes.append("404")
        if self.method in WRITES:
            codes += ["413"]
        if self.method in WRITES and self.method != "DELETE":
            codes += ["409", "415"]
        if self.method == "POST" and self._access():
            codes.append("422")
        return codes


def add_problem_schema(result: dict[str, Any], **_: Any) -> dict[str, Any]:
    """Postprocessing hook: put the Problem component in."""
    text = {"type": "string"}
    field_error = {
        "type": "object",
        "properties": {"field": text, "message": text},
        "required": ["field", "message"],
    }
    result["components"].setdefault("schemas", {})["Problem"] = {
        "type": "object",
        "description": "RFC 9457 problem details; further members show the current state.",
        "properties": {
            "type": {"type": "string", "format": "uri", "description": "Stable name of the kind."},
            "title": text,
            "status": {"type": "integer"},
            "detail": {"type": "string", "description": "What went wrong, in a sentence."},
            "next_step": {"type": "string", "description": "What to do next."},
            "errors": {"type": "array", "items": field_error},
            "request_id": {"type": "string", "description": "Tell the operator this."},
        },
        "required": ["type", "title", "status", "detail", "next_step", "errors"],
    }
    return result
