"""What a line of the list of cars says, in plain values."""

from dataclasses import dataclass
from uuid import UUID

from django.utils.safestring import SafeString

from core.lines import drawn
from core.templatetags.look import minutes, when
from jobs.desk.selectors.cars import DeskCar

TEMPLATE = "jobs/desk/cars_line.html"
NOT_NAMED = "no day named"
# What nobody's work says of a car that waits for nothing.
IDLE = {"coming": "not here yet", "ready": "to be collected", "cancelled": "to be fetched"}
NOBODY = "nobody on it"


@dataclass(frozen=True, slots=True)
class CarLine:
    """One car; moments stand in it as they are said.

    `where` is said of a car that must not be driven; `since`: what since when it is.
    """

    job_id: UUID
    registration: str
    vin: str
    vehicle: str
    danger: bool
    where: str
    dealer: str
    dealer_ref: str
    due: str
    due_at: SafeString | str
    since: tuple[str, SafeString | str]
    done: int
    of: int
    left: str
    holds: tuple[tuple[str, SafeString | str], ...]
    to_feel: str
    halted: str
    waits_until: SafeString | str
    people: str
    idle: str


def car_line(car: DeskCar, *, place: str, where: str, due: str) -> SafeString:
    """Return the line of a car."""
    job, work = car.job, car.work
    since = {
        "ready": ("ready since", when(job.ready_at)),
        "cancelled": ("cancelled", when(job.cancelled_at)),
    }
    waits = bool(car.holds or car.halted or car.waits_until or car.to_feel)
    return drawn(
        TEMPLATE,
        CarLine(
            job_id=job.pk,
            registration=job.registration,
            vin=job.vin,
            vehicle=f"{job.make} {job.model}",
            danger=job.do_not_drive,
            where=where,
            dealer=job.dealer.name,
            dealer_ref=job.dealer_ref,
            due=due,
            due_at=when(job.due_at, NOT_NAMED),
            since=since.get(place, ("", "")),
            done=work.done,
            of=work.of,
            left=minutes(work.left) if work.left else "",
            holds=tuple((hold.get_cause_display(), when(hold.started_at)) for hold in car.holds),
            to_feel=car.to_feel,
            halted=car.halted,
            waits_until="" if car.halted else when(car.waits_until),
            people=", ".join(work.people),
            idle="" if work.people or waits else IDLE.get(place, NOBODY),
        ),
    )
