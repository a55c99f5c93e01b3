"""Cells of files that people open in a spreadsheet."""

# A spreadsheet calculates a cell that begins so; with a ' in front it shows it.
_FORMULAS = ("=", "+", "-", "@", "\t", "\r")


def shown_as_text(cell: str) -> str:
    """Return a cell that no spreadsheet calculates."""
    return f"'{cell}" if cell.startswith(_FORMULAS) else cell
