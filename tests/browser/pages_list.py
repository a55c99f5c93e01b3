"""Every page there is: who looks at it, and at what address; each part's file lists its own."""

from collections.abc import Iterator
from dataclasses import dataclass
from importlib import import_module
from pkgutil import iter_modules

from tests.browser import parts


@dataclass(frozen=True, slots=True)
class Page:
    """One page: the name of its picture, who looks at it, and its address with {places}."""

    name: str
    who: str
    address: str

    @property
    def on_tablet(self) -> bool:
        """Return whether it is used with wet gloves on."""
        return self.address.startswith("/tablet/")


# Parts that are looked at together; those not named here are looked at with "others".
GROUPS = {
    "desk": {"desk"},
    "tablet": {"tablet", "catalogue", "climate", "flow"},
    "dealers": {"dashboard", "notices"},
}


def every_page() -> list[Page]:
    """Return the pages of all parts, in the order of their names."""
    return sorted(_listed(_parts()), key=lambda page: page.name)


def pages_of(group: str) -> list[Page]:
    """Return the pages of a group, in the order of their names."""
    named = set().union(*GROUPS.values())
    return sorted(_listed(GROUPS.get(group, _parts() - named)), key=lambda page: page.name)


def _parts() -> set[str]:
    return {found.name for found in iter_modules(parts.__path__)}


def _listed(names: set[str]) -> Iterator[Page]:
    for name in names:
        yield from import_module(f"{parts.__name__}.{name}").PAGES
