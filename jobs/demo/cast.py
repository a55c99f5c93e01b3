"""The invented scene: one workshop, two dealers, their people, keys and cars.

The registrations were never issued: memory tags beginning J, T or U are not in use.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True, slots=True)
class Organisation:
    """A workshop or a dealer; `asks_first`: the workshop decides about each of its orders."""

    name: str
    email: str
    asks_first: bool = False


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody who signs in."""

    name: str
    email: str
    role: str
    organisation: str
    pin: str = ""


@dataclass(frozen=True, slots=True)
class Key:
    """A system's key; scopes as the command takes them, no more than the system needs."""

    name: str
    organisation: str
    scopes: str


@dataclass(frozen=True, slots=True)
class Car:
    """A vehicle and the work order its dealer sends for it."""

    registration: str
    make: str
    model: str
    order: Mapping[str, Any] = field(hash=False)

    @property
    def vehicle(self) -> str:
        """Return maker and model."""
        return f"{self.make} {self.model}"


WORKSHOP = Organisation("Fernhollow Valeting", "desk@fernhollow.example")
BRACKMOOR = Organisation("Brackmoor Cars", "stock@brackmoor.example")
QUILLHAVEN = Organisation("Quillhaven Motors", "forecourt@quillhaven.example", asks_first=True)
DEALERS = (BRACKMOOR, QUILLHAVEN)

OPERATOR = Person("Sel Harrow", "operator@shutline.example", "operator", "")
ODILE = Person("Odile Farrant", "odile@fernhollow.example", "owner", WORKSHOP.name, "7302")
MILO = Person("Milo Treen", "milo@fernhollow.example", "manager", WORKSHOP.name, "4816")
TAM = Person("Tam Brackley", "tam@fernhollow.example", "valeter", WORKSHOP.name, "2580")
NEVE = Person("Neve Sallow", "neve@fernhollow.example", "valeter", WORKSHOP.name, "1379")
BRYN = Person("Bryn Ashdell", "bryn@fernhollow.example", "valeter", WORKSHOP.name, "6094")
INES = Person("Ines Okafor-Lind", "ines@brackmoor.example", "staff", BRACKMOOR.name)
DARA = Person("Dara Quill", "dara@quillhaven.example", "staff", QUILLHAVEN.name)
PEOPLE = (ODILE, MILO, TAM, NEVE, BRYN, INES, DARA)

STOCK_SYSTEM = Key(
    "Brackmoor stock system", BRACKMOOR.name, "jobs.read,orders.write,notices.manage,prices.read"
)
DASHBOARD = Key("Brackmoor dashboard", BRACKMOOR.name, "jobs.read")
WORKSHOP_DESK = Key("Fernhollow desk", WORKSHOP.name, "jobs.read,prices.read")
OTHER_DEALER = Key("Quillhaven office", QUILLHAVEN.name, "jobs.read")
KEYS = (STOCK_SYSTEM, DASHBOARD, WORKSHOP_DESK, OTHER_DEALER)

LYND = Car(
    "TU21 ABC",
    "Corvane",
    "Lynd 1.4",
    {
        "dealer_ref": "PX-1042",
        "registration": "tu21abc",
        "colour": "Slate grey",
        "first_registered": "2021-03-15",
        "mileage": 41250,
        "purpose": "retail",
        "operations": [
            *("engine_bay", "wash_body", "shuts", "wheels_arches", "vacuum", "plastics", "glass"),
            *("paint_test", "polish_one_stage", "trim_dressing"),
        ],
        "cap_minutes": 420,
        "keys": "Key safe, hook 12",
        "contact_name": INES.name,
        "notes": "Part-exchange. Sold, customer collects tomorrow at noon.",
    },
)
OSK = Car(
    "JX19 KLM",
    "Veltrane",
    "Osk 1.0",
    {
        "dealer_ref": "PX-1047",
        "registration": "JX19 KLM",
        "colour": "Moss green",
        "first_registered": "2019-10-02",
        "mileage": 63800,
        "body_size": "small",
        "purpose": "retail",
        "operations": [
            *("walk_round", "pet_hair", "dust_interior", "vacuum", "plastics"),
            *("wet_extraction", "wash_body", "glass"),
        ],
        "notes": "Two dogs travelled in it for years.",
    },
)
SELA = Car(
    "UB68 TRW",
    "Ombrix",
    "Sela 2.0",
    {
        "dealer_ref": "ST-0871",
        "colour": "White",
        "mileage": 28900,
        "operations": ["mini_valet"],
        "notes": "Test drive at half past two",
    },
)
DRAY = Car(
    "TJ17 HND",
    "Halvik",
    "Dray",
    {
        "dealer_ref": "VN-0312",
        "colour": "Silver",
        "mileage": 118400,
        "body_size": "large_van",
        "operations": ["sticker_removal", "wash_body", "load_area", "vacuum", "polish_spot"],
        "supplied": ["Side marker lens"],
        "notes": "De-fleeted, old sign-writing on both sides",
    },
)
TARROW = Car(
    "UT70 FEN",
    "Corvane",
    "Tarrow 1.8",
    {
        "dealer_ref": "ST-0866",
        "colour": "Deep blue",
        "mileage": 35150,
        "operations": ["wash_body", "shuts", "vacuum", "glass", "polish_one_stage"],
    },
)
HOB = Car(
    "JT66 OAK",
    "Veltrane",
    "Hob",
    {
        "dealer_ref": "AU-0209",
        "colour": "Red",
        "mileage": 97020,
        "purpose": "auction",
        "operations": ["auction_prep"],
        "location": "Rear compound, bay 4",
        "contact_email": INES.email,
    },
)
MOOR = Car(
    "UK14 MOW",
    "Halvik",
    "Moor 1.6",
    {
        "dealer_ref": "Q-77",
        "registration": "UK14 MOW",
        "colour": "Bronze",
        "mileage": 84300,
        "operations": ["wash_body", "vacuum", "plastics", "glass", "tyre_dressing"],
        "contact_name": DARA.name,
    },
)
SELA_TWO = Car(
    "TY65 LUM",
    "Ombrix",
    "Sela 1.6",
    {
        "dealer_ref": "Q-81",
        "registration": "TY65 LUM",
        "colour": "Black",
        "mileage": 71600,
        "operations": ["full_valet"],
        "contact_name": DARA.name,
        "notes": "Child seats were in the back.",
    },
)
CARS = (LYND, OSK, SELA, DRAY, TARROW, HOB, MOOR, SELA_TWO)
