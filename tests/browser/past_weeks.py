"""Cars that came and went in the weeks before the working day, for the pages that add them up."""

from datetime import datetime, timedelta

from core.clock import now
from jobs.work.models import FlowCar, Job
from tests.scene import Scene

CARS = 40
STANDSTILL = 31  # the car that waited for a part that did not come


def past_weeks(scene: Scene) -> None:
    """Make finished cars, two a day, one of which took far longer than its kind."""
    at = now()
    readies = [at - timedelta(days=2, hours=12 * (CARS - number)) for number in range(CARS)]
    gone = [_car(scene, number, ready_at) for number, ready_at in enumerate(readies)]
    Job.objects.bulk_create(gone)
    FlowCar.objects.bulk_create(
        _times(number, job, readies[number]) for number, job in enumerate(gone)
    )


def _car(scene: Scene, number: int, ready_at: datetime) -> Job:
    mark = f"UJ{number % 20 + 51} {'KLMPR'[number % 5]}OX"
    return Job(
        dealer=scene.dealer,
        workshop=scene.workshop,
        registration=mark,
        registration_key=mark.replace(" ", ""),
        make="Corvane",
        model="Lynd 1.4",
        purpose=("retail", "retail", "auction")[number % 3],
        stage="ready",
        decision="accepted",
        is_open=False,
        arrived_at=ready_at - timedelta(minutes=_minutes(number)),
        ready_at=ready_at,
        due_at=ready_at + timedelta(hours=number % 5 - 1),
        collected_at=ready_at + timedelta(hours=6),
        received_at=ready_at - timedelta(days=1),
        updated_at=ready_at,
    )


def _minutes(number: int) -> int:
    return 2900 if number == STANDSTILL else 300 + 37 * (number % 7) + 53 * (number % 4)


def _times(number: int, job: Job, ready_at: datetime) -> FlowCar:
    whole = _minutes(number) * 60
    parts = {
        "intake_nobody_on_it": whole // 8,
        "cleaning_working": whole // 4,
        "cleaning_nobody_on_it": whole // 10,
        "cleaning_parts": whole // 4 if number == STANDSTILL else 0,
        "correction_working": whole // 8,
        "correction_decision": whole // 12 if number % 3 == 0 else 0,
        "curing_cure": whole // 9,
    }
    left = whole - sum(parts.values())
    return FlowCar(
        job=job,
        workshop=job.workshop,
        dealer=job.dealer,
        purpose=job.purpose,
        arrived_at=ready_at - timedelta(seconds=whole),
        ready_at=ready_at,
        due_at=job.due_at,
        on_time=number % 5 != 0,
        rework_count=int(number % 9 == 0),
        lead_seconds=whole,
        person_seconds=whole // 3,
        for_cleaning=parts["intake_nobody_on_it"] + parts["cleaning_nobody_on_it"],
        for_ready=left,
        curing_nobody_on_it=left,
        **parts,
    )
