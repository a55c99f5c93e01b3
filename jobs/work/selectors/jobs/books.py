"""What must be true of every car, in a backup that was restored above all."""

from collections.abc import Iterator

from jobs.work.calc.stages.machine import replay
from jobs.work.models import Job

AT_ONCE = 200


def histories_wrong() -> Iterator[str]:
    """Yield a sentence for each car whose history does not lead to what is stored of it."""
    cars = Job.objects.order_by("pk").prefetch_related("history")
    for job in cars.iterator(chunk_size=AT_ONCE):
        entries = sorted(job.history.all(), key=lambda entry: entry.number)
        whole = [entry.number for entry in entries] == list(range(1, job.history_count + 1))
        if not whole:
            yield f"Of the history of job {job.pk} entries are missing."
        elif replay([entry.step for entry in entries]) != job.state:
            yield f"The history of job {job.pk} does not lead to the state it is stored in."
