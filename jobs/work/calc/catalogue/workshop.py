"""A workshop's catalogue: our operations and packages, with the workshop's own laid over them."""

import re
import unicodedata
from collections.abc import Collection, Container, Iterable, Mapping
from dataclasses import dataclass, replace
from itertools import count
from types import MappingProxyType

from jobs.work.calc.catalogue.operations import OPERATIONS, PACKAGES, Operation, Package, Wording
from jobs.work.calc.stages.machine import Stage

# What one workshop may add and a page still shows at once. Common practice, no source.
MOST_OPERATIONS = 300
MOST_PACKAGES = 100
MOST_IN_PACKAGE = 60
LONGEST_CODE = 40
# More than a working week on one operation, or two weeks of curing, is a mistake of typing. Common
# practice, no source.
MOST_STANDARD_MINUTES = 2400
MOST_WAIT_MINUTES = 20_160
WAITS = ("cure", "drying")
# A ready car wants no more work.
STAGES = tuple(stage for stage in Stage if stage is not Stage.READY)


@dataclass(frozen=True, slots=True)
class Catalogue:
    """What a workshop does, hidden entries included, by code: ours first, then its own."""

    operations: Mapping[str, Operation]
    packages: Mapping[str, Package]

    def unknown(self, codes: Iterable[str]) -> list[str]:
        """Return the codes that name neither an operation nor a package."""
        return [code for code in codes if code not in self.operations and code not in self.packages]

    def withdrawn(self, codes: Iterable[str]) -> list[str]:
        """Return the codes that are known and cannot be ordered any more."""
        known = [code for code in codes if code in self.operations or code in self.packages]
        return [code for code in known if not self._can_be_ordered(code)]

    def _can_be_ordered(self, code: str) -> bool:
        if code in self.operations:
            return not self.operations[code].hidden
        return not self.packages[code].hidden and bool(self.orderable([code]))

    def expand(self, codes: Iterable[str]) -> list[Operation]:
        """Return the operations that the codes stand for, packages opened, each once, in order.

        Hidden ones are among them; a code that has left the catalogue stands for nothing.
        """
        wanted: dict[str, None] = {}
        for code in codes:
            parts = self.packages[code].operations if code in self.packages else (code,)
            wanted.update(dict.fromkeys(parts))
        return [self.operations[code] for code in wanted if code in self.operations]

    def orderable(self, codes: Iterable[str]) -> list[Operation]:
        """Return what of the codes' operations can be ordered anew: all but the hidden ones."""
        return [operation for operation in self.expand(codes) if not operation.hidden]

    def shown_operations(self) -> list[Operation]:
        """Return the operations that can be ordered."""
        return [operation for operation in self.operations.values() if not operation.hidden]

    def shown_packages(self) -> list[Package]:
        """Return the packages that can be ordered."""
        return [package for package in self.packages.values() if self._can_be_ordered(package.code)]

    def name_of(self, code: str) -> str:
        """Return what an operation or a package is called; a code that left, as words."""
        entry = self.operations.get(code) or self.packages.get(code)
        return entry.name if entry else code.replace("_", " ")


STANDARD = Catalogue(OPERATIONS, PACKAGES)


def catalogue_with(operations: Collection[Operation], packages: Collection[Package]) -> Catalogue:
    """Return our catalogue with a workshop's rows over it; their `caution` is the workshop's text.

    A row with a code of ours takes the place of ours; the others follow, by stage and name.
    """
    if not operations and not packages:
        return STANDARD
    order = list(Stage)
    worded = {operation.code: _worded(operation) for operation in operations}
    own = sorted(
        worded.values(),
        key=lambda operation: (order.index(operation.stage), operation.name, operation.code),
    )
    named = {package.code: _named(package) for package in packages}
    theirs = sorted(named.values(), key=lambda package: (package.name, package.code))
    return Catalogue(
        MappingProxyType(
            {code: worded.get(code, ours) for code, ours in OPERATIONS.items()}
            | {operation.code: operation for operation in own if operation.code not in OPERATIONS}
        ),
        MappingProxyType(
            {code: named.get(code, ours) for code, ours in PACKAGES.items()}
            | {their.code: their for their in theirs if their.code not in PACKAGES}
        ),
    )


def _worded(row: Operation) -> Operation:
    """Say whose words a row is in, and lay its caution beside ours, which always stands."""
    ours = OPERATIONS.get(row.code)
    if ours is None:
        return replace(row, own_caution=row.caution, wording=Wording.OWN)
    both = " ".join(filter(None, (ours.caution, row.caution)))
    return replace(
        row,
        caution=both,
        own_caution=row.caution,
        near_high_voltage=ours.near_high_voltage,
        wording=Wording.REWORDED,
    )


def _named(row: Package) -> Package:
    return replace(row, wording=Wording.REWORDED if row.code in PACKAGES else Wording.OWN)


def wait_refused(waits: str, wait_minutes: int) -> str:
    """Return what is wrong between what an operation waits for and how long, or nothing."""
    if waits and not wait_minutes:
        return "Say how many minutes the car waits."
    if wait_minutes and not waits:
        return "Say what the car waits for, or leave this at 0."
    return ""


def code_from(words: str, taken: Container[str]) -> str:
    """Return a code for what is called so, that nothing has yet: "Roof box" is roof_box."""
    plain = unicodedata.normalize("NFKD", words).encode("ascii", "ignore").decode().lower()
    stem = re.sub(r"[^a-z0-9]+", "_", plain).strip("_")[: LONGEST_CODE - 5].rstrip("_")
    if not stem[:1].isalpha():
        stem = f"own_{stem}".rstrip("_")
    if stem not in taken:
        return stem
    return next(code for nth in count(2) if (code := f"{stem}_{nth}") not in taken)
