"""What callers see of a workshop's operations and packages."""

from typing import Any

from rest_framework import serializers

from jobs.work.calc.catalogue.operations import Operation, Package, Wording

WORDINGS = [(wording.value, wording.value) for wording in Wording]


class OperationOutput(serializers.Serializer[Any]):
    """One kind of work."""

    code = serializers.CharField()
    name = serializers.CharField()
    stage = serializers.CharField()
    standard_minutes = serializers.IntegerField()
    waits = serializers.CharField(help_text="cure, drying or nothing")
    wait_minutes = serializers.IntegerField()
    caution = serializers.CharField(help_text="All of it: ours, and the workshop's beside it.")
    own_caution = serializers.CharField(help_text="What of it the workshop said.")
    hidden = serializers.BooleanField(help_text="True: not to be ordered anew.")
    wording = serializers.ChoiceField(WORDINGS, help_text="Whose words these are.")


class OperationsOutput(serializers.Serializer[Any]):
    """The catalogue."""

    operations = OperationOutput(many=True)


class PackageOutput(serializers.Serializer[Any]):
    """Operations ordered together."""

    code = serializers.CharField()
    name = serializers.CharField()
    operations = serializers.ListField(child=serializers.CharField())
    hidden = serializers.BooleanField(help_text="True: not to be ordered anew.")
    wording = serializers.ChoiceField(WORDINGS, help_text="Whose words these are.")


class PackagesOutput(serializers.Serializer[Any]):
    """The packages."""

    packages = PackageOutput(many=True)


def operation_shown(one: Operation) -> dict[str, Any]:
    """Return an operation as it is shown."""
    return {
        "code": one.code,
        "name": one.name,
        "stage": one.stage.value,
        "standard_minutes": one.standard_minutes,
        "waits": one.waits,
        "wait_minutes": one.wait_minutes,
        "caution": one.caution_on(),
        "own_caution": one.own_caution,
        "hidden": one.hidden,
        "wording": one.wording.value,
    }


def package_shown(one: Package) -> dict[str, Any]:
    """Return a package as it is shown."""
    return {
        "code": one.code,
        "name": one.name,
        "operations": list(one.operations),
        "hidden": one.hidden,
        "wording": one.wording.value,
    }
