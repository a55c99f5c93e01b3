"""What callers see of a workshop's operations and packages."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated

from rest_framework import serializers

from core.api.answers import Answer
from jobs.work.calc.catalogue.operations import Operation, Package, Wording

Whose = Annotated[
    str,
    serializers.ChoiceField(
        [(wording.value, wording.value) for wording in Wording], help_text="Whose words these are."
    ),
]


@dataclass(frozen=True, slots=True, kw_only=True)
class OperationOutput(Answer):
    """One kind of work."""

    code: str
    name: str
    stage: str
    standard_minutes: int
    waits: Annotated[str, "cure, drying or nothing"]
    wait_minutes: int
    caution: Annotated[str, "All of it: ours, and the workshop's beside it."]
    own_caution: Annotated[str, "What of it the workshop said."]
    hidden: Annotated[bool, "True: not to be ordered anew."]
    wording: Whose


@dataclass(frozen=True, slots=True, kw_only=True)
class OperationsOutput(Answer):
    """The catalogue."""

    operations: Sequence[OperationOutput]


@dataclass(frozen=True, slots=True, kw_only=True)
class PackageOutput(Answer):
    """Operations ordered together."""

    code: str
    name: str
    operations: Sequence[str]
    hidden: Annotated[bool, "True: not to be ordered anew."]
    wording: Whose


@dataclass(frozen=True, slots=True, kw_only=True)
class PackagesOutput(Answer):
    """The packages."""

    packages: Sequence[PackageOutput]


def operation_shown(operation: Operation) -> OperationOutput:
    """Return an operation as it is shown."""
    return OperationOutput(
        code=operation.code,
        name=operation.name,
        stage=operation.stage.value,
        standard_minutes=operation.standard_minutes,
        waits=operation.waits,
        wait_minutes=operation.wait_minutes,
        caution=operation.caution_on(),
        own_caution=operation.own_caution,
        hidden=operation.hidden,
        wording=operation.wording.value,
    )


def package_shown(package: Package) -> PackageOutput:
    """Return a package as it is shown."""
    return PackageOutput(
        code=package.code,
        name=package.name,
        operations=list(package.operations),
        hidden=package.hidden,
        wording=package.wording.value,
    )
