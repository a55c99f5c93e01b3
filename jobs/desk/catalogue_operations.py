"""Operations and packages as the desk edits them."""

from collections.abc import Container, Mapping, Sequence
from typing import Any
from uuid import UUID

from django.http import QueryDict

from accounts.caller import Caller
from core.forms import Field, PageForm
from jobs.desk.catalogue import Entry, Shelf
from jobs.work.calc.catalogue.operations import OPERATIONS, Operation
from jobs.work.calc.catalogue.workshop import STAGES, Catalogue
from jobs.work.calc.stages.machine import Stage
from jobs.work.inputs.catalogue import (
    LONGEST_CAUTION,
    LONGEST_NAME,
    OperationChangeInput,
    OperationInput,
    PackageChangeInput,
    PackageInput,
)
from jobs.work.selectors.catalogue import catalogue_of
from jobs.work.services.catalogue import (
    NewOperation,
    NewPackage,
    OperationChange,
    PackageChange,
    operation_add,
    operation_change,
    operation_remove,
    package_add,
    package_change,
    package_remove,
)

STAGE_CHOICES = [(stage.value, stage.value.capitalize()) for stage in STAGES]
WAIT_WORDS = {"": "nothing", "cure": "curing", "drying": "drying"}


def by_stage(catalogue: Catalogue) -> list[Operation]:
    """Return every operation in the order of the stages, ours before the workshop's own."""
    order = list(Stage)
    return sorted(catalogue.operations.values(), key=lambda operation: order.index(operation.stage))


def _in_minutes(minutes: int) -> str:
    return f"{minutes} minute{'' if minutes == 1 else 's'}"


def _arranged(caller: Caller, kept: Sequence[str], wanted: Sequence[str]) -> list[str]:
    """Return the operations of a package by stage, those it had in the order they stood in."""
    operations, order = catalogue_of(caller.organisation_id).operations, list(Stage)
    both = [code for code in kept if code in wanted]
    both += [code for code in wanted if code not in kept]  # a form sends them as they stand on it
    known = [code for code in both if code in operations]
    known.sort(key=lambda code: order.index(operations[code].stage))
    return known + [code for code in both if code not in operations]


class Operations(Shelf):
    """What the workshop does to a car."""

    one, many = "operation", "operations"
    about = (
        "What can be ordered and done here, with the minutes that planning counts on. Tasks that "
        "cars have already stay as they are."
    )
    add_input, change_input = OperationInput, OperationChangeInput

    def entries(self, workshop_id: UUID) -> list[Entry]:
        return [
            Entry(
                code=operation.code,
                name=operation.name,
                group=operation.stage.value.capitalize(),
                wording=operation.wording.value,
                hidden=operation.hidden,
                facts=[_in_minutes(operation.standard_minutes), *self._wait(operation)],
                thing=operation,
            )
            for operation in by_stage(catalogue_of(workshop_id))
        ]

    @staticmethod
    def _wait(operation: Operation) -> list[str]:
        return [
            f"then {WAIT_WORDS[operation.waits]} for {_in_minutes(operation.wait_minutes)}"
        ] * bool(operation.waits)

    def fields(self, workshop_id: UUID, entry: Entry | None) -> list[Field]:
        del workshop_id
        ours = OPERATIONS.get(entry.code) if entry else None
        name = Field("name", "Name", longest=LONGEST_NAME, required=True)
        minutes = Field(
            "standard_minutes",
            "Minutes of work",
            "number",
            required=True,
            hint="On a medium car in ordinary state.",
        )
        wait = Field(
            "wait_minutes",
            "Minutes to wait",
            "number",
            value=0,
            hint="The product's own data sheet knows.",
        )
        caution = Field(
            "own_caution",
            "Your caution",
            "textarea",
            longest=LONGEST_CAUTION,
            hint="Whoever does the work reads it"
            + (", after ours." if ours and ours.caution else "."),
        )
        if ours:
            return [name, minutes, *([wait] if ours.waits else []), caution]
        stage = Field("stage", "Stage", "choice", choices=STAGE_CHOICES, value="cleaning")
        waits = Field("waits", "The car then waits for", "select", choices=list(WAIT_WORDS.items()))
        return [name, stage, minutes, waits, wait, caution]

    def standing(self, entry: Entry) -> Mapping[str, Any]:
        operation: Operation = entry.thing
        return {
            "name": operation.name,
            "stage": operation.stage.value,
            "standard_minutes": operation.standard_minutes,
            "waits": operation.waits,
            "wait_minutes": operation.wait_minutes,
            "own_caution": operation.own_caution,
        }

    def beside(self, workshop_id: UUID, form: PageForm, entry: Entry | None) -> Mapping[str, Any]:
        del workshop_id, form
        ours = OPERATIONS.get(entry.code) if entry else None
        if ours is None:
            return {}
        return {"our_caution": ours.caution, "stays": self._stays(ours)}

    @staticmethod
    def _stays(ours: Operation) -> str:
        wait = f" The car waits for {WAIT_WORDS[ours.waits]} afterwards." if ours.waits else ""
        return f"Done in {ours.stage.value}.{wait}"

    def words_of(self, typed: QueryDict) -> str:
        return typed.get("name", "")

    def taken(self, workshop_id: UUID) -> Container[str]:
        catalogue = catalogue_of(workshop_id)
        return {*catalogue.operations, *catalogue.packages}

    def add(self, caller: Caller, values: Mapping[str, Any]) -> None:
        operation_add(caller=caller, operation=NewOperation(**values))

    def change(self, caller: Caller, code: str, values: Mapping[str, Any]) -> None:
        operation_change(caller=caller, code=code, changes=OperationChange(**values))

    def remove(self, caller: Caller, code: str) -> None:
        operation_remove(caller=caller, code=code)


class Packages(Shelf):
    """Operations that are ordered together."""

    one, many = "package", "packages"
    about = (
        "Operations that are ordered together under one name. Cars that were ordered with a "
        "package keep the tasks they have."
    )
    add_input, change_input = PackageInput, PackageChangeInput
    form = "jobs/desk/catalogue/package_fields.html"

    def entries(self, workshop_id: UUID) -> list[Entry]:
        catalogue = catalogue_of(workshop_id)
        return [
            Entry(
                code=package.code,
                name=package.name,
                group="Packages",
                wording=package.wording.value,
                hidden=package.hidden,
                facts=self._facts(catalogue.expand([package.code])),
                thing=package,
            )
            for package in catalogue.packages.values()
        ]

    @staticmethod
    def _facts(parts: Sequence[Operation]) -> list[str]:
        names = [f"{part.name} (hidden)" if part.hidden else part.name for part in parts]
        done = sum(part.standard_minutes for part in parts if not part.hidden)
        return [_in_minutes(done), ", ".join(names)]

    def fields(self, workshop_id: UUID, entry: Entry | None) -> list[Field]:
        inside = entry.thing.operations if entry else ()
        offered = [
            (operation.code, f"{operation.name} (hidden)" if operation.hidden else operation.name)
            for operation in by_stage(catalogue_of(workshop_id))
            if not operation.hidden or operation.code in inside
        ]
        return [
            Field("name", "Name", longest=LONGEST_NAME, required=True),
            Field("operations", "What is in it", "checks", choices=offered, required=True),
        ]

    def standing(self, entry: Entry) -> Mapping[str, Any]:
        return {"name": entry.name, "operations": entry.thing.operations}

    def beside(self, workshop_id: UUID, form: PageForm, entry: Entry | None) -> Mapping[str, Any]:
        del entry
        operations = catalogue_of(workshop_id).operations
        stages: dict[str, list[tuple[str, str, int]]] = {}
        for code, words in form.fields["operations"].choices:
            operation = operations[code]
            group = stages.setdefault(operation.stage.value.capitalize(), [])
            group.append((code, words, operation.standard_minutes))
        return {"stages": stages.items()}

    def words_of(self, typed: QueryDict) -> str:
        return typed.get("name", "")

    def taken(self, workshop_id: UUID) -> Container[str]:
        catalogue = catalogue_of(workshop_id)
        return {*catalogue.operations, *catalogue.packages}

    def add(self, caller: Caller, values: Mapping[str, Any]) -> None:
        package_add(caller=caller, package=NewPackage(**values))

    def change(self, caller: Caller, code: str, values: Mapping[str, Any]) -> None:
        if "operations" in values:
            kept = self.find(caller.organisation_id, code).thing.operations
            values = {**values, "operations": _arranged(caller, kept, values["operations"])}
        package_change(caller=caller, code=code, changes=PackageChange(**values))

    def remove(self, caller: Caller, code: str) -> None:
        package_remove(caller=caller, code=code)
