"""The names of enumerations in the OpenAPI document: each app registers its own."""

from collections.abc import Mapping, Sequence

from django.conf import settings


def register_enum_names(names: Mapping[str, str | Sequence[str]]) -> None:
    """Name enumerations in the document: each by its choices, or by where they are declared.

    An app says so while it loads: drf-spectacular reads the names once, at its first use.
    """
    known = settings.SPECTACULAR_SETTINGS["ENUM_NAME_OVERRIDES"]
    for name, choices in names.items():
        if known.get(name, choices) != choices:
            raise ValueError(f"Two enumerations are called {name}.")
        known[name] = choices
