"""What a line of the day's list says, in plain values."""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.utils.safestring import SafeString

from core.lines import drawn
from core.templatetags.look import when
from jobs.tablet.selectors.board import BoardCar
from jobs.work.calc.stages.machine import Stage

TEMPLATE = "jobs/tablet/board_line.html"


@dataclass(frozen=True, slots=True)
class CarLine:
    """One car; moments stand in it as they are said.

    `stamp` tells the tablet whether it keeps the car's pages as they are now.
    """

    job_id: UUID
    stamp: str
    name: str
    vehicle: str
    danger: bool
    todo: str
    todo_at: SafeString | str
    dealer: str
    is_here: bool
    stage: str
    came: SafeString | str
    location: str
    done: int
    of: int
    due: SafeString | str
    is_late: bool


def car_line(car: BoardCar, at: datetime) -> SafeString:
    """Return the line of a car as of an instant."""
    job = car.job
    colour = f", {job.colour.lower()}" if job.colour else ""
    late = job.due_at is not None and job.due_at < at and job.stage != Stage.READY
    return drawn(
        TEMPLATE,
        CarLine(
            job_id=job.pk,
            stamp=f"{job.history_count}-{int(job.updated_at.timestamp())}",
            name=str(job),
            vehicle=f"{job.make} {job.model}{colour}",
            danger=job.do_not_drive,
            todo=car.step.words,
            todo_at=when(car.step.moment),
            dealer=job.dealer.name,
            is_here=job.arrived_at is not None,
            stage="" if job.stage == Stage.INTAKE else job.stage,
            came=when(job.arrived_at),
            location=job.location,
            done=car.done,
            of=car.of,
            due=when(job.due_at),
            is_late=late,
        ),
    )
