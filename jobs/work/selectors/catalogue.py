"""A workshop's operations and packages: ours, with its own rows laid over them."""

from uuid import UUID

import orjson
from django.db import connection
from django.db.models import Q

from accounts.caller import Caller, Side
from accounts.selectors import trade_accounts_for
from core.problems import InvalidRequest, NotFound
from jobs.work.calc.catalogue.operations import Operation, Package
from jobs.work.calc.catalogue.workshop import Catalogue, catalogue_with
from jobs.work.calc.stages.machine import Stage
from jobs.work.models import Job, Task, WorkRequest
from jobs.work.models import Operation as OperationRow

MOST_NAMED = 5

# One look at both tables, in plain SQL: every work order begins with it, and the ORM would take
# longer to build two queries than these take to run.
_SQL = """
SELECT code, name, hidden, stage, standard_minutes, waits, wait_minutes, caution, ''
  FROM jobs_operation WHERE workshop_id = %s
 UNION ALL
SELECT code, name, hidden, '', 0, '', 0, '', CAST(operations AS text)
  FROM jobs_package WHERE workshop_id = %s
"""


def catalogue_of(workshop_id: UUID) -> Catalogue:
    """Return what a workshop does: one query, however much of it is the workshop's own."""
    key = OperationRow._meta.pk.get_db_prep_value(workshop_id, connection)  # noqa: SLF001  Django's documented
    with connection.cursor() as cursor:
        cursor.execute(_SQL, [key, key])
        rows = cursor.fetchall()
    operations, packages = [], []
    for code, name, hidden, stage, minutes, waits, wait_minutes, caution, parts in rows:
        if stage:
            operations.append(
                Operation(
                    code, name, Stage(stage), minutes, waits, wait_minutes, caution,
                    hidden=bool(hidden),
                )
            )  # fmt: skip
        else:
            packages.append(Package(code, name, tuple(orjson.loads(parts)), hidden=bool(hidden)))
    return catalogue_with(operations, packages)


class Catalogues:
    """The catalogues that one request needs, each looked up once."""

    def __init__(self) -> None:
        self._found: dict[UUID, Catalogue] = {}

    def of(self, workshop_id: UUID) -> Catalogue:
        """Return a workshop's catalogue."""
        if workshop_id not in self._found:
            self._found[workshop_id] = catalogue_of(workshop_id)
        return self._found[workshop_id]


def workshop_asked(caller: Caller, workshop_id: UUID | None) -> UUID:
    """Return whose catalogue a caller asks for: its own, or that of a workshop it deals with.

    Raises NotFound for any other, and InvalidRequest where a dealer has to name one of several.
    """
    if caller.side is Side.WORKSHOP:
        if workshop_id in {None, caller.organisation_id}:
            return caller.organisation_id
        raise _no_such_workshop()
    accounts = list(trade_accounts_for(caller).order_by("id"))
    if workshop_id is not None:
        if any(account.workshop_id == workshop_id for account in accounts):
            return workshop_id
        raise _no_such_workshop()
    accounts = [account for account in accounts if account.active] or accounts
    if len(accounts) == 1:
        return accounts[0].workshop_id
    if not accounts:
        message = "You have no trade account, so there is no workshop to ask about."
    else:
        named = ", ".join(
            f"{account.workshop.name} ({account.workshop_id})" for account in accounts
        )
        message = f"You have several workshops; name one of: {named}."
    raise InvalidRequest(
        f"workshop_id: {message}",
        next_step="Look at /api/v1/trade-accounts for the workshops you deal with.",
        errors=[{"field": "workshop_id", "message": message}],
    )


def _no_such_workshop() -> NotFound:
    return NotFound("There is no such workshop, or you do not deal with it.")


def still_needed(workshop_id: UUID, code: str) -> list[str]:
    """Return some of the open cars that have an operation among their tasks or proposals.

    A finished task counts: it can be taken up again, and then leaves its wait again.
    """
    cars = Job.objects.filter(workshop_id=workshop_id, is_open=True)
    work = Task.objects.filter(operation=code).exclude(state=Task.State.DROPPED).values("job")
    # Proposals are few, and which database may look into a list of them differs.
    proposed = WorkRequest.objects.filter(state=WorkRequest.State.OPEN, job__in=cars)
    asked = [job for job, codes in proposed.values_list("job", "operations") if code in codes]
    found = cars.filter(Q(pk__in=work) | Q(pk__in=asked)).order_by("pk")
    return [str(job) for job in found[:MOST_NAMED]]
