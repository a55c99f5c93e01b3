"""The forms of actions on the tablet, as the queue on the device reads them, and their fields."""

from collections.abc import Iterable

from django import template
from django.template import Context
from django.utils.html import conditional_escape, format_html
from django.utils.safestring import SafeString

register = template.Library()
# What counts the car's version on; the service asks none of those that end or begin a stop.
RAISING = frozenset({"arrival", "move", "hold", "release", "correct"})
UNCHECKED = frozenset({"clear", "withdraw"})


@register.simple_block_tag(takes_context=True)
def act(
    context: Context,
    content: SafeString,
    kind: str,
    *path: object,
    says: str,
    look: str = "",
    over: object = False,
    shown: object = True,
    **more: object,
) -> SafeString:
    """Return the form of an action: what it is, where it is sent, and what it is in words.

    `path` is the address bit by bit, below the car unless its first bit begins with a slash.
    `look` names more classes; `over`: the finding it is about stops no car any more. Any other
    name becomes an attribute, bare where it is True.
    """
    job = context["job"]
    below = "/".join(str(bit) for bit in path)
    attributes = {
        "class": f"act {look}".strip(),
        "method": "post",
        "action": f"/api/v1{below}" if below.startswith("/") else f"/api/v1/jobs/{job.pk}/{below}",
        "data-job": job.pk,
        "data-kind": kind,
        "data-says": says,
        "data-raises": "unchecked" if kind in UNCHECKED and not over else kind in RAISING,
        "data-time": "occurred_at",
        "hidden": not shown,
        **{name.replace("_", "-"): value for name, value in more.items()},
    }
    written = "".join(
        f" {name}" if value is True else f' {name}="{conditional_escape(value)}"'
        for name, value in attributes.items()
        if value not in (None, False, "")
    )
    return format_html("<form{}>{}</form>", SafeString(written), content)


@register.inclusion_tag("jobs/tablet/field.html")
def field(
    field_id: str,
    name: str,
    label: str,
    *,
    of: object = "",
    number: bool = False,
    rows: int | None = None,
    longest: int | None = None,
    needed: bool = False,
) -> dict[str, object]:
    """Show a field that is typed into; `of` ends its id where a page has several."""
    return {
        "id": f"{field_id}{of}",
        "name": name,
        "label": label,
        "number": number,
        "rows": rows,
        "longest": longest,
        "needed": needed,
    }


@register.inclusion_tag("jobs/tablet/select.html")
def select(
    field_id: str,
    name: str,
    label: str,
    choices: Iterable[tuple[object, str]],
    *,
    of: object = "",
    capital: bool = False,
) -> dict[str, object]:
    """Show a field that is picked from a list, its words with a `capital` where they have none."""
    return {
        "id": f"{field_id}{of}",
        "name": name,
        "label": label,
        "choices": choices,
        "capital": capital,
    }


@register.inclusion_tag("jobs/tablet/choices.html")
def choices(
    field_id: str,
    name: str,
    legend: str,
    choices: Iterable[tuple[object, str]],
    *,
    hint: str = "",
    first: bool = False,
    chosen: object = None,
    needed: bool = False,
) -> dict[str, object]:
    """Show choices large enough for a wet glove; the `first` or the `chosen` is ticked."""
    return {
        "id": field_id,
        "name": name,
        "legend": legend,
        "choices": choices,
        "hint": hint,
        "first": first,
        "chosen": chosen,
        "needed": needed,
    }
