"""What core keeps: answers given to an Idempotency-Key, when the sweeps last ran, its epoch."""

from uuid import UUID

from django.db import models

from core.ids import new_id


class IdempotentAnswer(models.Model):
    """The answer once given to a request that carried an Idempotency-Key."""

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    organisation_id: "models.UUIDField[UUID, UUID]" = models.UUIDField()
    key = models.CharField(max_length=255)
    fingerprint = models.CharField(max_length=64)
    status = models.PositiveSmallIntegerField(null=True)
    headers = models.JSONField(default=dict)
    body = models.BinaryField(default=bytes)
    created_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["organisation_id", "key"], name="idempotent_answer_once"
            )
        ]
        indexes = [models.Index(fields=["created_at"], name="idempotent_answer_age")]

    def __str__(self) -> str:
        return self.key


class Sweep(models.Model):
    """When a periodic job last finished: what /readyz and an operator look at."""

    name = models.CharField(primary_key=True, max_length=50)
    last_run_at = models.DateTimeField()
    # None for those that ran before it was kept.
    first_run_at = models.DateTimeField(null=True)

    def __str__(self) -> str:
        return self.name


class KeyProof(models.Model):
    """A known line, sealed with the field key that the database is sealed with: one row."""

    id = models.PositiveSmallIntegerField(primary_key=True, default=1, editable=False)
    sealed = models.BinaryField()
    sealed_at = models.DateTimeField()

    class Meta:
        constraints = [models.CheckConstraint(condition=models.Q(id=1), name="key_proof_once")]

    def __str__(self) -> str:
        return f"of {self.sealed_at}"


class Epoch(models.Model):
    """Which life of the database this is: one row, written by each restore, none before the first.

    `number` is random and stands in cursors and ETags, so that those given before a restore are
    known for what they are. `before` is the number that the restored backup had.
    """

    id = models.PositiveSmallIntegerField(primary_key=True, default=1, editable=False)
    number = models.PositiveIntegerField()
    before = models.PositiveIntegerField()
    backup_made_at = models.DateTimeField()
    restored_at = models.DateTimeField()

    class Meta:
        constraints = [models.CheckConstraint(condition=models.Q(id=1), name="epoch_once")]

    def __str__(self) -> str:
        return f"{self.number}, since {self.restored_at}"
