"""Our templates have a line and a margin for each thing; what is sent of them has neither."""

import re

from django.template import Origin
from django.template.loaders import app_directories

OURS = ("core/", "accounts/", "jobs/", "notifications/")
# A line of its own that shows nothing: the end of the line before it is blank enough.
CONTROL = re.compile(
    r"\{% (?:block|csrf_token|elif|else|empty|end\w+|extends|for|if|load|with)\b[^%]*%\}"
)


class Loader(app_directories.Loader):
    """Finds templates in the apps, and takes the margins off our pages once, when they are read.

    To a browser a line's end with its margin is one blank, and so it stays one.
    """

    def get_contents(self, origin: Origin) -> str:
        text = super().get_contents(origin)
        name = str(origin.template_name)
        return without_margins(text) if name.endswith(".html") and name.startswith(OURS) else text


def without_margins(text: str) -> str:
    """Return a template with one blank, or a line's end before a tag, for each line's end.

    With nothing between, a line that begins with `>` ends the tag above it, and `</a>` and
    `</button>` their text: a blank there, after words for readers alone, made buttons wider.
    """
    lines = [line.strip() for line in text.splitlines()]
    joined = "".join(line if CONTROL.fullmatch(line) else f"{line}\n" for line in lines)
    return re.sub(r"\n(?!<)", " ", re.sub(r"\n(?=>|</a>|</button>)", "", joined))
