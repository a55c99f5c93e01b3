"""The fields of a work order on a page, and what can be ordered."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from accounts.caller import Caller, Scope
from accounts.selectors import trade_accounts_for
from core.forms import Field, PageForm
from jobs.dashboard.cars import STAGE_NAMES
from jobs.work.calc.car.fuels import FUEL_CHOICES
from jobs.work.calc.catalogue.workshop import Catalogue
from jobs.work.calc.stages.machine import Stage
from jobs.work.models import Job

Choices = Sequence[tuple[str, str]]
NOTHING_CHOSEN: Choices = (("", "not said"),)


@dataclass(frozen=True, slots=True)
class Orderable:
    """What a workshop does: packages, and single operations by the stage they belong to."""

    packages: Choices
    stages: Sequence[tuple[str, Choices]]


@dataclass(frozen=True, slots=True)
class Fold:
    """Fields that are folded away until somebody wants them."""

    title: str
    fields: list[Field]
    open: bool


def orderable(catalogue: Catalogue, ordered: Sequence[str] = ()) -> Orderable:
    """Return what can be ordered, and what was ordered before and is no longer offered."""
    packages = [(package.code, package.name) for package in catalogue.shown_packages()]
    operations = catalogue.shown_operations()
    stages = [
        (
            STAGE_NAMES[stage],
            [
                (operation.code, operation.name)
                for operation in operations
                if operation.stage is stage
            ],
        )
        for stage in Stage
    ]
    offered = {code for code, _ in packages} | {operation.code for operation in operations}
    before = [(code, catalogue.name_of(code)) for code in ordered if code not in offered]
    stages.append(("no longer offered", before))
    return Orderable(packages, [(name, choices) for name, choices in stages if choices])


def workshops_of(caller: Caller) -> Choices:
    """Return the workshops a dealer can send cars to."""
    accounts = trade_accounts_for(caller).filter(active=True)
    named = [(str(account.workshop_id), account.workshop.name) for account in accounts]
    return sorted(named, key=lambda workshop: workshop[1])


def with_empty(choices: Any) -> Choices:
    """Return the choices of a list with one that says nothing before them."""
    return [*NOTHING_CHOSEN, *((str(code), str(words).capitalize()) for code, words in choices)]


WHICH_CAR = (
    Field("registration", "Registration", longest=40),
    Field("dealer_ref", "Your stock number", longest=60),
    Field("make", "Make", longest=60),
    Field("model", "Model", longest=80),
    Field("colour", "Colour", longest=40),
)
# Its choices are a workshop's own: `about_operations`.
OPERATIONS = Field("operations", "What is to be done", "checks")
WHEN_AND_WHERE = (
    Field("due_at", "Wanted back", "datetime"),
    Field("location", "Where the car stands", longest=120),
    Field("keys", "Where the keys are", longest=120),
    Field("notes", "Notes for the workshop", "textarea", longest=4000),
)
MORE_OF_THE_CAR = (
    Field("vin", "VIN", longest=40, hint="17 characters."),
    Field("first_registered", "First registered", "date"),
    Field("mileage", "Mileage", "number"),
    Field("mileage_unit", "Counted in", "select", choices=with_empty(Job.MileageUnit.choices)),
    Field("body_size", "Size", "select", choices=with_empty(Job.BodySize.choices)),
    Field("fuel", "Runs on", "select", choices=with_empty(FUEL_CHOICES)),
    Field("purpose", "What it is made ready for", "select",
          choices=with_empty(Job.Purpose.choices), hint="Retail where nothing is said."),
)  # fmt: skip
LIMITS = (
    Field("cap_minutes", "At most this many minutes of work", "number",
          hint="Or an amount, not both."),
    Field("cap_amount", "At most this much money", hint="With a full stop for the pence."),
)  # fmt: skip
CONTACT = (
    Field("supplied", "Parts or paint that you supply", "lines", hint="One on each line."),
    Field("contact_name", "Whom to ask", longest=80),
    Field("contact_phone", "Telephone", "tel", longest=40),
    Field("contact_email", "E-mail", "email", longest=254,
          hint="Requests for extra work and warnings go there as well."),
)  # fmt: skip
FOLDS = (
    ("More about the car", MORE_OF_THE_CAR),
    ("A limit to the work", LIMITS),
    ("Parts you supply, and whom to ask", CONTACT),
)


def order_fields(caller: Caller, workshops: Choices) -> list[Field]:
    """Return the fields of a new work order."""
    every = [*WHICH_CAR, OPERATIONS, *WHEN_AND_WHERE, *MORE_OF_THE_CAR, *CONTACT]
    every += [limit for limit in LIMITS if limit.name != "cap_amount" or caller.may(Scope.PRICES)]
    if len(workshops) > 1:
        every.append(Field("workshop_id", "Workshop", "hidden"))
    return every


def change_fields() -> list[Field]:
    """Return what is changed of an order that is on its way."""
    names = {"due_at", "location", "keys", "notes", "supplied"}
    return [OPERATIONS, *(field for field in (*WHEN_AND_WHERE, *CONTACT) if field.name in names)]


def folds_of(form: PageForm) -> list[Fold]:
    """Return the folded parts; one with something in it, or wrong in it, is open."""
    folds = []
    for title, fields in FOLDS:
        here = [form.fields[field.name] for field in fields if field.name in form.fields]
        folds.append(Fold(title, here, any(field.value or field.errors for field in here)))
    return folds


def about_operations(
    form: PageForm, catalogue: Catalogue, ordered: Sequence[str] = ()
) -> Mapping[str, Any]:
    """Return what the operations' part of a form shows; single ones are folded until chosen."""
    chosen = set(form.fields["operations"].value)
    offered = orderable(catalogue, ordered)
    single = {code for _, choices in offered.stages for code, _ in choices}
    return {"orderable": offered, "single_open": bool(chosen & single)}
