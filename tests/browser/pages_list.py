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
        """Say whether it is used with wet gloves on."""
        return self.address.startswith("/tablet/")


def every_page() -> list[Page]:
    """Return the pages of all parts, in the order of their names."""
    return sorted(_listed(), key=lambda page: page.name)


def _listed() -> Iterator[Page]:
    for found in iter_modules(parts.__path__):
        yield from import_module(f"{parts.__name__}.{found.name}").PAGES
