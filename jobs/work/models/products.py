"""Products that cure, as their data sheets say, and that they were applied."""

from django.db import models

from accounts.models import Organisation
from core.ids import new_id
from jobs.work.models.curing import WaitClock
from jobs.work.models.jobs.noted import Noted
from jobs.work.models.tasks import Task


class Product(models.Model):
    """A product of a workshop's; what its data sheet says of curing outranks every default."""

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    workshop = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="+", db_index=False
    )
    name = models.CharField(max_length=80)
    operation = models.CharField(
        max_length=40, blank=True, help_text="The operation it is used in; empty: any."
    )
    reference_minutes = models.PositiveIntegerField(
        help_text="How long it cures at the reference temperature; 0: it need not."
    )
    reference_celsius = models.FloatField(default=15.0)
    q10 = models.FloatField(default=2.0, help_text="By how much 10 °C more speeds it up.")
    lowest_celsius = models.FloatField(default=5.0, help_text="Below this it does not cure.")
    highest_celsius = models.FloatField(
        null=True, help_text="Warmer than this it cures no quicker; empty: ours."
    )
    apply_from_celsius = models.FloatField(
        default=10.0, help_text="The sheet wants no colder surface."
    )
    sheet = models.CharField(max_length=120, blank=True, help_text="Which sheet says so, and when.")
    hidden = models.BooleanField(default=False, help_text="Is not used any more.")
    updated_at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["workshop", "name"], name="product_once")]

    def __str__(self) -> str:
        return self.name


class ProductUse(Noted):
    """A product went onto a car in the course of a task; its name is copied."""

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    task = models.ForeignKey(Task, on_delete=models.PROTECT, related_name="uses")
    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="+")
    name = models.CharField(max_length=80)
    clock = models.OneToOneField(WaitClock, on_delete=models.PROTECT, null=True, related_name="use")
    note = models.CharField(max_length=300, blank=True)

    def __str__(self) -> str:
        return self.name
