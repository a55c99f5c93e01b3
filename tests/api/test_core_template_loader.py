"""What is sent of a template has no margins, and every blank that a reader sees."""

import pytest
from django.template import Engine

from core.template_loader import without_margins


@pytest.mark.parametrize(
    ("written", "sent"),
    [
        ("<p>\n  two\n  words\n</p>\n", "<p> two words\n</p>\n"),
        ("<b>one</b>\n<i>two</i>\n", "<b>one</b>\n<i>two</i>\n"),
        ("<b>one</b><i>two</i>\n", "<b>one</b><i>two</i>\n"),
        ('<input\n  name="a"\n  value="b"\n>\n', '<input name="a" value="b">\n'),
        (
            "a\n{% if b %}\n  c\n{% else %}\n  d\n{% endif %}\ne\n",
            "a {% if b %}c {% else %}d {% endif %}e\n",
        ),
        ("a\n{% when b %}\nc\n", "a {% when b %} c\n"),
        ("a\n{{ b }}\nc\n", "a {{ b }} c\n"),
        ("{% load look %}\n<p>\n", "{% load look %}<p>\n"),
        ("<button>\n  a\n</button>\n<a>\n  b\n</a>\n", "<button> a</button>\n<a> b</a>\n"),
    ],
)
def test_a_line_end_is_one_blank_and_a_line_of_control_none(written: str, sent: str) -> None:
    assert without_margins(written).rstrip() == sent.rstrip()


def test_our_pages_are_read_so_and_those_of_others_as_they_are() -> None:
    assert "\n  " not in source("core/problem.html")
    assert "\n  " in source("admin/login.html")
    assert "\n{% if vehicle %}\n" in source("notifications/notice.txt")


def source(name: str) -> str:
    """Return a template as it was read."""
    return str(Engine.get_default().get_template(name).source)
