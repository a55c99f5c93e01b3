"""Where somebody goes from a page: the places that apps have added."""

from django import template
from django.templatetags.static import static
from django.urls import reverse
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from accounts.caller import Caller
from accounts.navigation import (
    Audience,
    Place,
    audience_of,
    files_of_the_tablet,
    places_for,
    set_up_page,
)

register = template.Library()


@register.inclusion_tag("accounts/places.html")
def places(caller: Caller, here: str = "") -> dict[str, object]:
    """Show the places in a caller's bar; `here` is marked."""
    return _marked(places_for(audience_of(caller)), here)


@register.inclusion_tag("accounts/places.html")
def places_in_bay(here: str = "") -> dict[str, object]:
    """Show the places in the bar of the tablet; `here` is marked."""
    return _marked(places_for(Audience.BAY), here)


@register.simple_tag
def set_up_link() -> SafeString:
    """Show the link to the page from which a workshop sets everything up."""
    return format_html('<a href="{}">Set up</a>', reverse(set_up_page()))


@register.simple_tag
def tablet_files() -> SafeString:
    """Load the styles and scripts of every page of the tablet."""
    styles = [static(path) for path in files_of_the_tablet() if path.endswith(".css")]
    scripts = [static(path) for path in files_of_the_tablet() if path.endswith(".js")]
    return format_html(
        "{}{}",
        format_html_join("\n", '<link rel="stylesheet" href="{}">', ([path] for path in styles)),
        format_html_join(
            "\n", '<script src="{}" type="module"></script>', ([path] for path in scripts)
        ),
    )


def _marked(listed: list[Place], here: str) -> dict[str, object]:
    return {"places": listed, "here": here}
