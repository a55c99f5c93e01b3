"""Work orders as CSV: the columns, a template, and reading."""

import csv
import io
from collections.abc import Iterator, Mapping
from typing import IO, Any

from rest_framework.exceptions import ParseError
from rest_framework.parsers import BaseParser

from core.problems import InvalidRequest
from core.spreadsheet import csv_text

MOST_LINES = 500
SEPARATOR = ";"
LISTS = frozenset({"operations", "supplied"})
# Each column's meaning and an example.
COLUMNS: Mapping[str, tuple[str, str]] = {
    "dealer_ref": ("Your stock number.", "PX-1042"),
    "registration": ("The mark, in any spelling; this or vin is required.", "TU21 ABC"),
    "vin": ("17 characters; this or registration is required.", ""),
    "make": ("Maker.", "Corvane"),
    "model": ("Model.", "Lynd 1.4"),
    "colour": ("Colour.", "Slate grey"),
    "first_registered": ("Date, as in 2021-03-15.", "2021-03-15"),
    "mileage": ("Whole number.", "41250"),
    "mileage_unit": ("miles or km; miles where left empty.", "miles"),
    "body_size": ("small, medium, large, small_van or large_van.", "medium"),
    "fuel": ("petrol, diesel, hybrid, electric or gas.", "petrol"),
    "purpose": ("retail, auction or trade; retail where left empty.", "retail"),
    "operations": ("Codes of operations and packages, separated by ;", "full_valet;touch_in"),
    "due_at": ("When it is wanted back, with its zone.", "2027-03-03T16:00:00Z"),
    "cap_minutes": ("The most working minutes; or use cap_amount.", "240"),
    "cap_amount": ("The most money, with a full stop for the pence.", ""),
    "cap_currency": ("Three letters of ISO 4217.", ""),
    "location": ("Where the car stands.", "Rear compound, bay 4"),
    "keys": ("Where the keys are.", "Key safe, hook 12"),
    "supplied": ("Parts or paint you supply, separated by ;", "Wheel trim"),
    "contact_name": ("Whom to ask.", "Ines Okafor-Lind"),
    "contact_phone": ("Telephone.", ""),
    "contact_email": ("E-mail.", ""),
    "notes": ("Anything else.", "Dog hair in the boot"),
    "workshop_id": ("Only where you deal with several workshops.", ""),
}


class CsvParser(BaseParser):
    """Reads text/csv as text; UTF-8 with or without a byte order mark."""

    media_type = "text/csv"

    def parse(
        self,
        stream: IO[Any],
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:
        """Return the text; `read_orders` takes it apart."""
        del media_type, parser_context
        try:
            return str(stream.read().decode("utf-8-sig"))
        except UnicodeDecodeError as error:
            raise ParseError("The CSV is not UTF-8 text; save it as UTF-8.") from error


def template() -> str:
    """Return a CSV with the header and one example line."""
    return csv_text([COLUMNS, (example for _, example in COLUMNS.values())])


def read_orders(text: str) -> list[dict[str, Any]]:
    """Return one dictionary for each line, as a JSON work order would be.

    Empty cells are left out. Raises InvalidRequest naming the columns where the header is wrong.
    """
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    except csv.Error as error:
        raise InvalidRequest(
            f"The CSV cannot be read: {error}.", next_step="Download the template and fill it in."
        ) from error
    rows = [row for row in rows if any(cell.strip() for cell in row)]
    if not rows:
        raise InvalidRequest("The CSV is empty.", next_step="Download the template and fill it in.")
    header = [name.strip() for name in rows[0]]
    _check_header(header)
    if not 0 < len(rows) - 1 <= MOST_LINES:
        raise InvalidRequest(
            f"There are {len(rows) - 1} lines; from 1 to {MOST_LINES} are read at once.",
            next_step="Send the lines in several batches.",
        )
    return [dict(_cells(header, row)) for row in rows[1:]]


def _check_header(header: list[str]) -> None:
    unknown = [name for name in header if name not in COLUMNS]
    twice = sorted({name for name in header if header.count(name) > 1})
    missing = [] if {"registration", "vin"} & set(header) else ["registration or vin"]
    wrong = [
        *({"field": name or "(empty)", "message": "No such column."} for name in unknown),
        *({"field": name, "message": "This column is there twice."} for name in twice),
        *({"field": name, "message": "This column is missing."} for name in missing),
    ]
    if wrong:
        raise InvalidRequest(
            "The header is not right. Known columns: " + ", ".join(COLUMNS) + ".",
            next_step="Download the template from /api/v1/work-orders/template.",
            errors=wrong,  # type: ignore[arg-type]
        )


def _cells(header: list[str], row: list[str]) -> Iterator[tuple[str, Any]]:
    for name, raw in zip(header, row, strict=False):
        if cell := raw.strip():
            parts = [part.strip() for part in cell.split(SEPARATOR)]
            yield name, [part for part in parts if part] if name in LISTS else cell
    if len(row) > len(header):
        yield "(cells beyond the last column)", row[len(header) :]
