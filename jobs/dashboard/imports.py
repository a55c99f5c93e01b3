"""A list of cars sent as a file: checked, then taken in some lines at a time, each answered."""

import csv
import io
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.urls import reverse

from accounts.caller import Access, Caller, Scope, dealers
from accounts.pages.base import PageView
from core.api.serializers import StrictSerializer
from core.forms import Field, PageForm
from core.problems import InvalidRequest
from core.spreadsheet import as_it_was, csv_as_typed, csv_text
from jobs.work.inputs.orders.csv_lines import COLUMNS, LISTS, MOST_LINES, SEPARATOR, read_orders
from jobs.work.intake.orders import import_advance
from jobs.work.models import OrderImport
from jobs.work.selectors.orders import import_of, imports_of
from jobs.work.services.orders.imports import import_begin

ORDER = dealers(Scope.ORDER)
FILE = "file"
MOST_BYTES = 900_000  # what a form may bring in all is a little more
MOST_SHOWN = 10
REASON = "reason"  # the column that a file of refused lines has beside ours
FILLED_IN = "Download the template, fill it in and choose it here."


class NoFields(StrictSerializer):
    """Nothing but a file, which is looked at on its own."""


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the list with its answer."""

    number: int
    name: str
    job_id: str
    reasons: list[str]
    next_step: str
    existing: str

    @property
    def taken(self) -> bool:
        """Return whether it was taken in."""
        return bool(self.job_id)


class ImportNew(PageView):
    """The upload."""

    access: ClassVar[dict[str, Access]] = {"GET": ORDER, "POST": ORDER}

    def get(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """Show how the file is made, and earlier ones."""
        return self.form(request, caller, _form())

    def post(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """Keep the lines of the file and go on to take them in."""
        form = _form()
        try:
            name, text = _uploaded(request)
            lines = read_orders(without_reasons(text))
        except InvalidRequest as problem:
            form.add([{"field": FILE, "message": sentence} for sentence in _wrong(problem)])
            return self.form(request, caller, form, 400)
        kept = import_begin(caller=caller, file_name=name, lines=lines)
        return self.done(request, reverse("order_import", args=[kept.pk]))

    def form(
        self, request: HttpRequest, caller: Caller, form: PageForm, status: int = 200
    ) -> HttpResponse:
        """Show the form as it stands."""
        columns = [(name, meaning, example) for name, (meaning, example) in COLUMNS.items()]
        return self.page(
            request,
            caller,
            "jobs/dashboard/import_new.html",
            status=status,
            here="order",
            form=form,
            columns=columns,
            most_lines=MOST_LINES,
            earlier=list(imports_of(caller).defer("lines", "answers")[:MOST_SHOWN]),
        )


class ImportPage(PageView):
    """How far a list is; it goes on by itself while the page is open."""

    access: ClassVar[dict[str, Access]] = {"GET": ORDER}

    def get(self, request: HttpRequest, caller: Caller, import_id: UUID) -> HttpResponse:
        """Show the progress, or at the end every line's answer."""
        kept = import_of(caller, import_id)
        return self.page(
            request, caller, "jobs/dashboard/import.html", here="order", **_about(kept)
        )


class ImportGoOn(PageView):
    """The next lines of a list."""

    access: ClassVar[dict[str, Access]] = {"POST": ORDER}

    def post(self, request: HttpRequest, caller: Caller, import_id: UUID) -> HttpResponse:
        """Take them in; with a script only what changed on the page is answered."""
        kept = import_advance(caller, import_id)
        if "HX-Request" not in request.headers:
            return self.done(request, reverse("order_import", args=[import_id]))
        about = {**_about(kept), "said_apart": True}
        return self.page(request, caller, "jobs/dashboard/import_part.html", **about)


class ImportRefused(PageView):
    """The refused lines as a file, to be put right and sent again."""

    access: ClassVar[dict[str, Access]] = {"GET": ORDER}

    def get(self, request: HttpRequest, caller: Caller, import_id: UUID) -> HttpResponse:
        """Download it."""
        del request
        kept = import_of(caller, import_id)
        return HttpResponse(
            refused_csv(kept),
            content_type="text/csv; charset=utf-8",
            headers={"Content-Disposition": 'attachment; filename="refused-cars.csv"'},
        )


def lines_of(kept: OrderImport) -> list[Line]:
    """Return the lines that were answered, in order."""
    return [
        Line(
            number=number,
            name=_name(line),
            **{name: answer[name] for name in ("job_id", "reasons", "next_step", "existing")},
        )
        for number, (line, answer) in enumerate(
            zip(kept.lines, kept.answers, strict=False), start=1
        )
    ]


def _about(kept: OrderImport) -> dict[str, Any]:
    answered = lines_of(kept)
    taken = sum(line.taken for line in answered)
    return {
        "kept": kept,
        "total": len(kept.lines),
        "done": len(answered),
        "taken": taken,
        "refused": len(answered) - taken,
        "lines": answered if kept.finished_at else [],
    }


def _name(line: Mapping[str, Any]) -> str:
    """Return what a line is called: its mark or VIN and the stock number."""
    parts = (line.get("registration") or line.get("vin", ""), line.get("dealer_ref", ""))
    return ", ".join(part for part in parts if part) or "no registration"


def _form() -> PageForm:
    return PageForm(
        NoFields, [Field(FILE, "The file", required=True, hint=f"CSV, up to {MOST_LINES} cars.")]
    )


def _uploaded(request: HttpRequest) -> tuple[str, str]:
    """Return the name and the text of the file. Raises InvalidRequest."""
    file = request.FILES.get(FILE)
    if file is None:
        raise InvalidRequest("No file was chosen.", next_step=FILLED_IN)
    if file.size is None or file.size > MOST_BYTES:
        message = f"The file is larger than {MOST_BYTES // 1000} KB."
        raise InvalidRequest(message, next_step="Send the lines in several files.")
    try:
        text = file.read().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        step = "In your spreadsheet choose “CSV UTF-8” when you save it."
        raise InvalidRequest("The file is not UTF-8 text.", next_step=step) from error
    if "\0" in text:
        raise InvalidRequest("The file is not text.", next_step=FILLED_IN)
    return file.name or "cars.csv", text


def _wrong(problem: InvalidRequest) -> list[str]:
    """Return what is wrong with a file, and at the end what to do."""
    columns = [f"{error['field']}: {error['message']}" for error in problem.errors]
    return [problem.detail, *columns, problem.next_step]


def without_reasons(text: str) -> str:
    """Return the file as its sender wrote it, where it is our own file of refused lines.

    That has a column of reasons, and marks in front of what a spreadsheet would calculate.
    """
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    except csv.Error:
        return text  # `read_orders` says what is wrong with it
    header = [name.strip() for name in rows[0]] if rows else []
    if REASON not in header:
        return text
    place = header.index(REASON)
    kept = [row[:place] + row[place + 1 :] for row in rows]
    return csv_as_typed([as_it_was(cell) for cell in row] for row in kept)


def refused_csv(kept: OrderImport) -> str:
    """Return the refused lines as they came, each with the reason in a column of its own."""
    rows: list[list[str]] = [[*COLUMNS, REASON]]
    for line in lines_of(kept):
        if not line.taken:
            sent = kept.lines[line.number - 1]
            cells = [_cell(name, sent.get(name, "")) for name in COLUMNS]
            cells.append(" ".join([*line.reasons, line.next_step]))
            rows.append(cells)
    return csv_text(rows)


def _cell(name: str, value: Any) -> str:
    return SEPARATOR.join(value) if name in LISTS and value else str(value)
