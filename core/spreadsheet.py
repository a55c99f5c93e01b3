"""Files of lines and cells that people open in a spreadsheet: every one of ours is written here.

A spreadsheet calculates a cell that begins with =, +, - or @, also in the wide forms of East Asia,
and after blanks or quotes. Which character parts the cells depends on where it is opened: a text
with ; in it may become two cells there, so that what comes after counts as a beginning as well.
In front of each such beginning goes a ' (OWASP, "CSV Injection").
"""

import csv
import io
import re
from collections.abc import Iterable, Iterator
from typing import Any

from core.text import visible

_BEGINS = "=+\\-@\uff1d\uff0b\uff0d\uff20"
_PARTS = ",;\t|\r\n"
_FORMULA = re.compile(f"(^|[{_PARTS}])(?=[\\s\"'\u2018\u2019\u201c\u201d]*[{_BEGINS}])")
_GUARDED = re.compile(f"(^|[{_PARTS}])'(?=[\\s\"'\u2018\u2019\u201c\u201d]*[{_BEGINS}])")


class _Echo:
    """Hands back the line that a CSV writer writes, instead of keeping it."""

    def write(self, line: str) -> str:
        return line


def shown_as_text(cell: Any) -> Any:
    """Return a cell that no spreadsheet calculates; numbers stay as they are."""
    if not isinstance(cell, str):
        return cell
    return _FORMULA.sub(r"\1'", visible(cell))


def as_it_was(cell: str) -> str:
    """Return a cell without the marks that `shown_as_text` put into it."""
    return _GUARDED.sub(r"\1", cell)


def csv_lines(rows: Iterable[Iterable[Any]]) -> Iterator[str]:
    """Yield each row as a line of CSV in which nothing is calculated."""
    writer = csv.writer(_Echo())
    for row in rows:
        yield writer.writerow([shown_as_text(cell) for cell in row])


def csv_text(rows: Iterable[Iterable[Any]]) -> str:
    """Return rows as CSV in which nothing is calculated."""
    return "".join(csv_lines(rows))


def csv_as_typed(rows: Iterable[Iterable[str]]) -> str:
    """Return rows as CSV for our own reader, never for a spreadsheet: the cells as they are."""
    sheet = io.StringIO()
    csv.writer(sheet).writerows(rows)
    return sheet.getvalue()
