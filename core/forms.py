"""Forms in pages, checked by the API's own input serializers, so that each rule is told once.

A page names its fields; what was typed is brought into the form a system would send, and whatever
the serializer or a service finds wrong is shown beside the field it is about, with what was typed
still in it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any, Literal

from django.http import QueryDict
from django.utils.timezone import is_aware, localtime, make_aware
from rest_framework.exceptions import ValidationError

from core.api.errors import field_errors
from core.api.serializers import StrictSerializer
from core.left_out import named
from core.problems import FieldError, Problem

Kind = Literal[
    "text", "email", "tel", "url", "password", "textarea", "number", "date", "datetime",
    "select", "choice", "checkbox", "checks", "lines", "hidden",
]  # fmt: skip
EMPTY_IS_NONE = frozenset({"number", "date", "datetime"})


@dataclass(frozen=True, slots=True)
class Field:
    """One field of a page's form, and what stands in it.

    `choice` shows one of few as buttons, `checks` several of a list, `lines` a list a line each.
    """

    name: str
    label: str
    kind: Kind = "text"
    hint: str = ""
    required: bool = False
    choices: Sequence[tuple[str, str]] = ()
    longest: int = 0
    autocomplete: str = "off"
    value: Any = ""
    errors: tuple[str, ...] = ()

    @property
    def described_by(self) -> str:
        """Return the ids of what is said about the field, for `aria-describedby`."""
        parts = [f"{self.name}-hint"] if self.hint else []
        return " ".join(parts + ([f"{self.name}-wrong"] if self.errors else []))


class PageForm:
    """The fields of a page with what was typed, or what stands already.

    `partial`: a change, where an emptied field empties what stands; otherwise what is left empty
    is not sent at all. Use it in a template as `form.fields.NAME`.
    """

    def __init__(
        self,
        serializer: type[StrictSerializer],
        fields: Sequence[Field],
        *,
        typed: QueryDict | None = None,
        standing: Mapping[str, Any] | None = None,
        partial: bool = False,
    ) -> None:
        self.serializer, self.partial, self.typed = serializer, partial, typed
        self.taken: Any = None  # what the serializer yields, once it is valid
        self.values: dict[str, Any] = {}
        self.other: list[str] = []
        self.fields = {
            field.name: replace(field, value=_typed(field, typed))
            if typed is not None
            else replace(
                field, value=shown_in(field, (standing or {}).get(field.name, field.value))
            )
            for field in fields
        }

    def is_valid(self) -> bool:
        """Check what was typed; what is wrong then stands beside its field."""
        sent = {name: _sent(field) for name, field in self.fields.items()}
        if not self.partial:
            sent = {name: value for name, value in sent.items() if value not in ("", None, [])}
        form = self.serializer(data=sent, partial=self.partial)
        try:
            form.is_valid(raise_exception=True)
        except ValidationError as error:
            self.add(field_errors(error.detail))
            return False
        self.taken = form.validated_data
        taken = self.taken
        self.values = dict(taken) if isinstance(taken, Mapping) else named(taken)
        return True

    def add_problem(self, problem: Problem) -> None:
        """Take over what a service found wrong."""
        if problem.errors:
            self.add(problem.errors)
        else:
            self.other.append(f"{problem.detail} {problem.next_step}")

    def add(self, errors: Any) -> None:
        """Put each error beside its field; what belongs to none stands above the form."""
        error: FieldError
        for error in errors:
            name = error["field"].partition(".")[0]
            if name in self.fields:
                field = self.fields[name]
                self.fields[name] = replace(field, errors=(*field.errors, error["message"]))
            else:
                self.other.append(error["message"])

    @property
    def wrong(self) -> list[Field]:
        """Return the fields with errors, in the order they stand."""
        return [field for field in self.fields.values() if field.errors]

    @property
    def refused(self) -> bool:
        """Return whether anything is wrong."""
        return bool(self.wrong or self.other)


def shown_in(field: Field, value: Any) -> Any:
    """Return a value as the field shows it."""
    if value is None:
        return [] if field.kind == "checks" else ""
    if field.kind == "datetime" and isinstance(value, datetime):
        return f"{localtime(value):%Y-%m-%dT%H:%M}"
    if field.kind == "date" and isinstance(value, date):
        return value.isoformat()
    if field.kind == "lines":
        return "\n".join(value)
    if field.kind == "checks":
        return [str(choice) for choice in value]
    return value if isinstance(value, bool) else str(value)


def _typed(field: Field, typed: QueryDict | None) -> Any:
    if typed is None:
        return ""
    match field.kind:
        case "checks":
            return [choice for choice in typed.getlist(field.name) if choice]
        case "checkbox":
            return field.name in typed
        case "password":
            return typed.get(field.name, "")
        case _:
            return str(typed.get(field.name, "")).strip()


def _sent(field: Field) -> Any:
    """Return what was typed as a system would send it."""
    value = field.value
    if value == "" and field.kind in EMPTY_IS_NONE:
        return None
    if field.kind == "lines":
        return [line.strip() for line in str(value).splitlines() if line.strip()]
    if field.kind == "datetime":
        return _zoned(value)
    return value


def _zoned(text: str) -> str:
    """Return a time typed here with its zone; what is no time goes on as it is, to be refused."""
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return text
    return (moment if is_aware(moment) else make_aware(moment)).isoformat()
