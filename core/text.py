"""Texts that people and systems send, without what cannot be seen in them.

A line break in a name forges a line of a text e-mail, and a direction mark turns round what stands
after it ("gpj.exe" shown as "exe.jpg"); neither is ever needed in a name, a mark or a note here.
What is left out: control characters, the direction marks, embeddings, overrides and isolates of
Unicode (UAX 9), and what has no shape of its own. Joiners stay, since scripts and emoji need them.
"""

import re

# Shape-giving joiners of Persian, Indic scripts and emoji (Unicode 15, chapter 23.2).
_JOINERS = "\u200c\u200d"
_DIRECTIONS = "\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069"
_UNSEEN = re.compile(
    "[\x01-\x08\x0b\x0c\x0e-\x1f\x7f-\x84\x86-\x9f\xad\u180e\u200b"
    f"{_DIRECTIONS}"
    "\u2060-\u2065\u206a-\u206f\ufeff\ufff9-\ufffb\U000e0001-\U000e007f]"
)
_BREAKS = re.compile("[\r\n\t\x85\u2028\u2029]+ *")
_LINE_ENDS = re.compile("\r\n?|[\x85\u2028\u2029]")
# The same directions in UTF-8, for what is sent out whole: U+061C, U+200E/F, U+202A-E, U+2066-9.
_DIRECTIONS_BEGIN = (b"\xd8\x9c", b"\xe2\x80", b"\xe2\x81")
_DIRECTION_BYTES = re.compile(b"\xd8\x9c|\xe2\x80[\x8e\x8f\xaa-\xae]|\xe2\x81[\xa6-\xa9]")


def visible(text: str) -> str:
    """Return a text of several lines without what cannot be seen, its lines parted in one way."""
    if text.isprintable():
        return text  # the usual case, and far cheaper than looking at each character
    return _UNSEEN.sub("", _LINE_ENDS.sub("\n", text))


def one_line(text: str) -> str:
    """Return a text in one line, without what cannot be seen; a line break becomes a space."""
    if text.isprintable():
        return text
    return _BREAKS.sub(" ", _UNSEEN.sub("", text))


def without_directions(content: bytes) -> bytes:
    """Return UTF-8 text without direction marks: rows kept before they were left out have some.

    Only bytes that are a whole character match: UTF-8 has no other way to write them.
    """
    if not any(begin in content for begin in _DIRECTIONS_BEGIN):
        return content  # the usual case of what systems read, at the speed of the memory
    return _DIRECTION_BYTES.sub(b"", content)
