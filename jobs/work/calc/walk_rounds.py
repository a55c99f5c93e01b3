"""The walk-round on arrival and on leaving: what is looked at, and what differs between the two.

The same list both times, so that a dispute about what came with the car has an answer.
"""

from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction
from types import MappingProxyType

# One international mile, exactly: International Yard and Pound Agreement, 1959.
KM_IN_A_MILE = Fraction(1609344, 1_000_000)
# Our own choice: a stock system rounds, and a car is driven to and fro. As much is driven at no
# workshop either.
LOWER_BY_MUCH_KM = 500

ITEMS = MappingProxyType(
    {
        "locking_wheel_key": "key of the locking wheel bolts",
        "spare_wheel": "spare wheel",
        "jack_and_tools": "jack and tools",
        "tyre_repair_kit": "tyre repair kit",
        "load_cover": "load cover or parcel shelf",
        "load_floor": "floor of the boot or load area",
        "mats": "mats",
        "head_restraints": "head restraints",
        "charging_cable": "charging cable",
        "tow_eye": "towing eye",
        "tow_ball": "detachable tow ball",
        "aerial": "aerial",
        "wheel_trims": "wheel trims or centre caps",
        "warning_triangle": "warning triangle and first-aid kit",
        "roof_bars": "roof bars",
        "second_key": "second key",
        "handbook": "handbook",
        "service_record": "service record",
        "registration_document": "registration document",
        "map_card": "card or disc with the maps",
    }
)
WARNING_LIGHTS = MappingProxyType(
    {
        "engine": "engine",
        "oil_pressure": "oil pressure",
        "oil_level": "oil level",
        "coolant": "coolant temperature or level",
        "charging": "battery charging",
        "brakes": "brakes",
        "anti_lock_brakes": "anti-lock brakes",
        "stability": "stability control",
        "airbag": "airbag",
        "seat_belt": "seat belt with everybody belted",
        "steering": "steering",
        "gearbox": "gearbox",
        "tyre_pressure": "tyre pressure",
        "exhaust_filter": "exhaust filter or additive",
        "glow_plugs": "pre-heating",
        "high_voltage": "high-voltage drive",
        "lamp_failure": "failed lamp",
        "service_due": "service due",
        "other": "another light, see the notes",
    }
)


# A red light speaks of what can hurt somebody on the next yard: which ready phrase says so of a
# finding, and where. The weight is the phrase's. Common practice, no source.
RED_LIGHTS = MappingProxyType(
    {
        "oil_pressure": ("oil_pressure_light_stays", "engine_bay"),
        "brakes": ("brake_light_stays", "brakes"),
        "high_voltage": ("high_voltage_light_stays", "battery"),
        "steering": ("steering_light_stays", "steering"),
        "airbag": ("airbag_light_stays", "dashboard"),
    }
)


@dataclass(frozen=True, slots=True)
class LightOffer:
    """A red light that nobody has reported: the ready phrase and the area for the finding."""

    light: str
    phrase: str
    area: str


def light_offers(lights: Iterable[str], reported: Container[str]) -> list[LightOffer]:
    """Return what to report of the lights; `reported` are the areas not to be driven already."""
    noted = set(lights)
    return [
        LightOffer(light, phrase, area)
        for light, (phrase, area) in RED_LIGHTS.items()
        if light in noted and area not in reported
    ]


class Presence(StrEnum):
    """Whether an item was there."""

    PRESENT = "present"
    ABSENT = "absent"
    NOT_CHECKED = "not_checked"


class Unit(StrEnum):
    """What a distance is counted in."""

    MILES = "miles"
    KM = "km"


@dataclass(frozen=True, slots=True)
class Distance:
    """A mileage with its unit."""

    amount: int
    unit: Unit

    @property
    def km(self) -> Fraction:
        """Return it in kilometres, exactly."""
        return self.amount * (KM_IN_A_MILE if self.unit is Unit.MILES else Fraction(1))

    def in_unit(self, unit: Unit) -> Fraction:
        """Return the amount in a unit, exactly."""
        return self.km / (KM_IN_A_MILE if unit is Unit.MILES else Fraction(1))


@dataclass(frozen=True, slots=True)
class Damage:
    """Damage at one area: how the area is named, and what was seen there."""

    area: str
    noticed: str


@dataclass(frozen=True, slots=True)
class Record:
    """What one walk-round found; None and what is not named were not looked at."""

    mileage: Distance | None = None
    fuel_percent: int | None = None
    charge_percent: int | None = None
    keys_count: int | None = None
    warning_lights: frozenset[str] = frozenset()
    items: Mapping[str, Presence] = field(default_factory=dict)
    damage: Sequence[Damage] = ()


@dataclass(frozen=True, slots=True)
class Difference:
    """One thing that is not as it was: what it is about, and a sentence."""

    about: str
    text: str


def differences(arrival: Record, leaving: Record) -> list[Difference]:
    """Return what differs between arrival and leaving, in plain sentences.

    Only what was looked at both times is compared. Warning lights and damage always are: the
    record of them is a list of what there was.
    """
    return [
        *_mileage(arrival.mileage, leaving.mileage),
        *_level("fuel_percent", "Fuel", arrival.fuel_percent, leaving.fuel_percent),
        *_level("charge_percent", "Charge", arrival.charge_percent, leaving.charge_percent),
        *_keys(arrival.keys_count, leaving.keys_count),
        *_lights(arrival.warning_lights, leaving.warning_lights),
        *_items(arrival.items, leaving.items),
        *_damage(arrival.damage, leaving.damage),
    ]


def remark_mileage(ordered: Distance | None, found: Distance | None) -> str:
    """Return a remark where the car shows much less than the order says, else an empty text."""
    if ordered is None or found is None or ordered.km - found.km <= LOWER_BY_MUCH_KM:
        return ""
    return (
        f"The car shows {found.amount} {found.unit}, much less than the {ordered.amount} "
        f"{ordered.unit} of the order: check that it is the right car and the right figure."
    )


def _mileage(before: Distance | None, after: Distance | None) -> list[Difference]:
    if before is None or after is None:
        return []
    grown = after.in_unit(before.unit) - before.amount
    same_unit = before.unit is after.unit
    if grown == 0 or (not same_unit and abs(after.km - before.km) < KM_IN_A_MILE):
        return []  # a display cuts off what is less than a mile, and then the same drive differs
    far = _far(round(abs(grown)), before.unit)
    said = f"The mileage grew by {far}."
    if grown < 0:
        said = f"The mileage fell by {far}, which cannot be: check both figures."
    if not same_unit and not 0 <= after.km - before.km <= LOWER_BY_MUCH_KM:
        said += f" One is in {before.unit}, the other in {after.unit}: check the units as well."
    return [Difference("mileage", said)]


def _far(amount: int, unit: Unit) -> str:
    return f"{amount} mile" if unit is Unit.MILES and amount == 1 else f"{amount} {unit}"


def _level(about: str, name: str, before: int | None, after: int | None) -> list[Difference]:
    if before is None or after is None or before == after:
        return []
    way = "rose" if after > before else "fell"
    return [Difference(about, f"{name} {way} from {before} % to {after} %.")]


def _keys(before: int | None, after: int | None) -> list[Difference]:
    if before is None or after is None or before == after:
        return []
    text = f"The keys were {before} on arrival and are {after} on leaving."
    return [Difference("keys_count", text)]


def _lights(before: frozenset[str], after: frozenset[str]) -> list[Difference]:
    new = [f"New warning light: {_light(code)}." for code in sorted(after - before)]
    gone = [f"Warning light gone: {_light(code)}." for code in sorted(before - after)]
    return [Difference("warning_lights", text) for text in new + gone]


def _light(code: str) -> str:
    return WARNING_LIGHTS.get(code, code)


def _items(before: Mapping[str, Presence], after: Mapping[str, Presence]) -> list[Difference]:
    sentences = {
        (Presence.PRESENT, Presence.ABSENT): "here on arrival, not here now",
        (Presence.ABSENT, Presence.PRESENT): "not here on arrival, here now",
        (Presence.PRESENT, Presence.NOT_CHECKED): "here on arrival, not looked for now",
    }
    found = []
    for code, was in before.items():
        is_now = after.get(code, Presence.NOT_CHECKED)
        if said := sentences.get((was, is_now)):
            name = ITEMS.get(code, code)
            found.append(Difference("items", f"{name[0].upper()}{name[1:]}: {said}."))
    return found


def _damage(before: Sequence[Damage], after: Sequence[Damage]) -> list[Difference]:
    """Name the damage there is more of at an area than on arrival.

    Areas are held against each other, for the words differ from day to day.
    """
    known: dict[str, int] = {}
    for damage in before:
        known[damage.area] = known.get(damage.area, 0) + 1
    found = []
    for damage in after:
        if known.get(damage.area, 0) > 0:
            known[damage.area] -= 1
        else:
            text = f"Damage that was not noted on arrival, {damage.area}: {damage.noticed}"
            found.append(Difference("damage", text))
    return found
