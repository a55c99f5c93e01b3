"""A series of readings as CSV, as many loggers write it: a header, then a line a reading."""

import csv
import io
from typing import Any

from core.problems import FieldError, InvalidRequest
from jobs.work.inputs.air.readings import MOST_READINGS, READING_FIELDS

NEXT_STEP = f"Send a header with celsius and at; known columns: {', '.join(READING_FIELDS)}."


def read_readings(text: str) -> list[dict[str, Any]]:
    """Return one dictionary for each line, as a JSON reading would be; empty cells are left out.

    Raises InvalidRequest naming the columns where the header is wrong.
    """
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    except csv.Error as error:
        raise InvalidRequest(f"The CSV cannot be read: {error}.", next_step=NEXT_STEP) from error
    rows = [row for row in rows if any(cell.strip() for cell in row)]
    header = [name.strip() for name in rows[0]] if rows else []
    if wrong := _wrong_columns(header):
        raise InvalidRequest("The header is not right.", next_step=NEXT_STEP, errors=wrong)
    if not 0 < len(rows) - 1 <= MOST_READINGS:
        raise InvalidRequest(
            f"There are {len(rows) - 1} lines; from 1 to {MOST_READINGS} are read at once.",
            next_step="Send the lines in several pieces.",
        )
    return [_cells(header, row) for row in rows[1:]]


def _wrong_columns(header: list[str]) -> list[FieldError]:
    unknown = [name for name in header if name not in READING_FIELDS]
    twice = sorted({name for name in header if header.count(name) > 1})
    missing = [name for name in ("celsius", "at") if name not in header]
    faults = [(name or "(empty)", "No such column.") for name in unknown]
    faults += [(name, "This column is there twice.") for name in twice]
    faults += [(name, "This column is missing.") for name in missing]
    return [{"field": field, "message": message} for field, message in faults]


def _cells(header: list[str], row: list[str]) -> dict[str, Any]:
    cells: dict[str, Any] = {
        name: cell.strip() for name, cell in zip(header, row, strict=False) if cell.strip()
    }
    if len(row) > len(header):
        cells["(cells beyond the last column)"] = row[len(header) :]
    return cells
