"""Where the time of each finished car went, kept ready to be added up."""

from django.db import models

from accounts.models import Organisation
from jobs.work.models.jobs.job import Job


def _seconds() -> "models.PositiveIntegerField[int, int]":
    return models.PositiveIntegerField(default=0)


class FlowCar(models.Model):
    """One car that became ready: its time from arrival on in whole seconds, by stage and cause.

    A column for each stage and cause: adding up 100,000 cars so takes a quarter of the time that
    rows for the parts take on PostgreSQL, and an eighth on SQLite. It is worked out from the
    history, holds, spells and clocks of the job, and can be worked out again at any time.
    """

    job = models.OneToOneField(Job, on_delete=models.PROTECT, primary_key=True, related_name="flow")
    # Read through the index below alone.
    workshop = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="+", db_index=False
    )
    dealer = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="+", db_index=False
    )
    purpose = models.CharField(max_length=10, choices=Job.Purpose.choices)
    arrived_at = models.DateTimeField()
    ready_at = models.DateTimeField()
    due_at = models.DateTimeField(null=True)
    on_time = models.BooleanField(null=True, help_text="Empty: no time was named.")
    rework_count = models.PositiveSmallIntegerField(default=0)
    lead_seconds = models.PositiveIntegerField(help_text="From arrival to ready.")
    person_seconds = models.PositiveIntegerField(
        help_text="Worked; two people at once count twice."
    )

    for_cleaning = _seconds()
    for_correction = _seconds()
    for_curing = _seconds()
    for_ready = _seconds()

    intake_working = _seconds()
    intake_nobody_on_it = _seconds()
    intake_decision = _seconds()
    intake_parts = _seconds()
    intake_weather = _seconds()
    intake_drying = _seconds()
    intake_cure = _seconds()

    cleaning_working = _seconds()
    cleaning_nobody_on_it = _seconds()
    cleaning_decision = _seconds()
    cleaning_parts = _seconds()
    cleaning_weather = _seconds()
    cleaning_drying = _seconds()
    cleaning_cure = _seconds()

    correction_working = _seconds()
    correction_nobody_on_it = _seconds()
    correction_decision = _seconds()
    correction_parts = _seconds()
    correction_weather = _seconds()
    correction_drying = _seconds()
    correction_cure = _seconds()

    curing_working = _seconds()
    curing_nobody_on_it = _seconds()
    curing_decision = _seconds()
    curing_parts = _seconds()
    curing_weather = _seconds()
    curing_drying = _seconds()
    curing_cure = _seconds()

    ready_working = _seconds()
    ready_nobody_on_it = _seconds()
    ready_decision = _seconds()
    ready_parts = _seconds()
    ready_weather = _seconds()
    ready_drying = _seconds()
    ready_cure = _seconds()

    class Meta:
        indexes = [models.Index(fields=["workshop", "ready_at"], name="flow_by_workshop")]

    def __str__(self) -> str:
        return f"{self.job_id}: {self.lead_seconds} s"
