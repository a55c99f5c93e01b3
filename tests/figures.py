"""Texts as a person reads them, for tests that look for a short figure or word.

Ids, tokens and times are full of short figures: "188" stands in one version-7 UUID of about two
hundred. What is searched for a figure goes through `without_ids` first.
"""

import re

_IDS = re.compile(
    r"""
      [0-9a-f]{8}-?(?:[0-9a-f]{4}-?){3}[0-9a-f]{12}                  # UUIDs
    | \d{4}-\d\d-\d\d[T ]\d\d:\d\d(?::\d\d(?:\.\d+)?)?(?:Z|[+-]\d\d:\d\d)?  # moments
    | [A-Za-z0-9_-]{20,}(?:[:.=][A-Za-z0-9_-]*)*                     # tokens, signatures, cursors
    """,
    re.VERBOSE | re.IGNORECASE,
)


def without_ids(text: object) -> str:
    """Return the text, or what `str` makes of a value, without ids, tokens and moments."""
    words = text.decode() if isinstance(text, bytes) else str(text)
    return _IDS.sub("…", words)
