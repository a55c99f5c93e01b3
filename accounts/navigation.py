"""Where people go from page to page: each app adds its own places as it loads.

So no page of accounts or notifications names one of an app above, and a new part of the service
stands in the bar without a change of theirs.
"""

from dataclasses import dataclass
from enum import StrEnum

from accounts.caller import Caller, Side
from accounts.models import Person


class Audience(StrEnum):
    """Whose bar it is: of a dealer, a workshop's office, a valeter, or a tablet in its bay."""

    DEALER = "dealer"
    OFFICE = "office"
    VALETER = "valeter"
    BAY = "bay"


@dataclass(frozen=True, slots=True)
class Place:
    """A place in the bar: its address by name, its words, and how far to the right it stands.

    `here` is the word by which a page says that it belongs there; the address's name where empty.
    """

    url_name: str
    words: str
    rank: int
    here: str = ""

    @property
    def mark(self) -> str:
        """Return the word by which a page says that it belongs here."""
        return self.here or self.url_name


_places: dict[Audience, list[Place]] = {audience: [] for audience in Audience}
_beginnings: dict[Audience, str] = {}
_car_pages: dict[Audience, str] = {}
_files_of_the_tablet: list[str] = []
_setting_up: list[str] = []


def register_places(audience: Audience, *places: Place) -> None:
    """Add places to somebody's bar. Raises ValueError where two stand at one rank."""
    ranks = {place.rank: place for place in _places[audience]}
    for place in places:
        if ranks.setdefault(place.rank, place) != place:
            raise ValueError(f"Two places stand at {place.rank}: {ranks[place.rank]} and {place}.")
    _places[audience] = [ranks[rank] for rank in sorted(ranks)]


def register_beginning(audience: Audience, url_name: str) -> None:
    """Name the page where somebody's day begins."""
    _set_once(_beginnings, audience, url_name)


def register_car_page(audience: Audience, url_name: str) -> None:
    """Name the page on which somebody reads about a car; its address takes the job's id."""
    _set_once(_car_pages, audience, url_name)


def register_tablet_files(*paths: str) -> None:
    """Add styles and scripts to every page of the tablet in a bay."""
    _files_of_the_tablet.extend(path for path in paths if path not in _files_of_the_tablet)


def register_set_up(url_name: str) -> None:
    """Name the page from which a workshop sets everything up."""
    _setting_up[:] = [url_name]


def audience_of(caller: Caller) -> Audience:
    """Return whose bar a caller sees."""
    if caller.side is Side.DEALER:
        return Audience.DEALER
    return Audience.VALETER if caller.role == Person.Role.VALETER else Audience.OFFICE


def places_for(audience: Audience) -> list[Place]:
    """Return the places in somebody's bar, from the left."""
    return _places[audience]


def beginning_of(audience: Audience) -> str:
    """Return the name of the address where somebody's day begins."""
    return _beginnings[audience]


def car_page_of(audience: Audience) -> str:
    """Return the name of the address at which somebody reads about a car."""
    return _car_pages[audience]


def files_of_the_tablet() -> list[str]:
    """Return the styles and scripts of every page of the tablet."""
    return _files_of_the_tablet


def set_up_page() -> str:
    """Return the name of the address from which a workshop sets everything up."""
    (url_name,) = _setting_up
    return url_name


def _set_once(names: dict[Audience, str], audience: Audience, url_name: str) -> None:
    if names.setdefault(audience, url_name) != url_name:
        raise ValueError(f"For {audience} there is {names[audience]} already, and now {url_name}.")
