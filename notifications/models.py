"""Events, the endpoints that want them, and every attempt to hand one over."""

from django.db import models
from django.db.models import Q

from accounts.models import Organisation
from core.ids import new_id


class Endpoint(models.Model):
    """Where an organisation wants its notices: a URL that takes webhooks, or an e-mail address."""

    class Channel(models.TextChoices):
        WEBHOOK = "webhook", "webhook"
        EMAIL = "email", "e-mail"

    class State(models.TextChoices):
        ON = "on", "on"
        OFF = "off", "off, by its owner"
        DISABLED = "disabled", "disabled, by the service"

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="endpoints", db_index=False
    )
    channel = models.CharField(max_length=10, choices=Channel.choices)
    address = models.CharField(max_length=500, help_text="A URL or an e-mail address.")
    description = models.CharField(max_length=200, blank=True)
    event_types = models.JSONField(default=list, help_text="Empty: every type.")
    state = models.CharField(max_length=10, choices=State.choices, default=State.ON)
    state_reason = models.CharField(max_length=200, blank=True)
    # Webhook secrets, encrypted with settings.FIELD_KEYS; the old one signs too for a while.
    secret = models.TextField(blank=True, editable=False)
    old_secret = models.TextField(blank=True, editable=False)
    old_secret_until = models.DateTimeField(null=True, editable=False)
    # Health: set at the first failure after a success, cleared by the next success.
    failing_since = models.DateTimeField(null=True, editable=False)
    warned_at = models.DateTimeField(null=True, editable=False)
    slowed_until = models.DateTimeField(null=True, editable=False)
    created_at = models.DateTimeField(auto_now_add=True)
    deleted_at = models.DateTimeField(null=True, editable=False)
    # Not registered by its owner: the address of a work order's contact. It gets only what is
    # addressed to it and stands in no list.
    direct = models.BooleanField(default=False, db_default=False, editable=False)

    class Meta:
        indexes = [
            models.Index(fields=["organisation", "channel"], name="endpoint_by_owner"),
            models.Index(
                fields=["failing_since"],
                condition=Q(failing_since__isnull=False),
                name="endpoint_failing",
            ),
        ]
        constraints = [
            models.UniqueConstraint(
                fields=["organisation", "address"],
                condition=Q(direct=True),
                name="endpoint_direct_once",
            )
        ]

    def __str__(self) -> str:
        return self.address


class FeedEnd(models.Model):
    """The last position that was given in the feed; one row.

    Positions go on from here and not from the last event there is, so that deleting old events
    never makes the feed start again, and a reader's cursor never points behind what comes.
    """

    position = models.BigIntegerField(default=0)
    # Where the feed stood when the database was last restored: up to here it is what it was.
    at_restore = models.BigIntegerField(null=True, editable=False)

    def __str__(self) -> str:
        return str(self.position)


class FeedStart(models.Model):
    """Up to where an organisation's feed is gone: its events up to `position` are not kept.

    Its own row for each, so that a cursor of one for whom nothing was lost stays good.
    """

    organisation = models.OneToOneField(
        Organisation, on_delete=models.PROTECT, primary_key=True, related_name="+"
    )
    position = models.BigIntegerField()
    recorded_until = models.DateTimeField(help_text="When the newest that is gone was recorded.")

    def __str__(self) -> str:
        return f"{self.organisation_id} after {self.position}"


class Event(models.Model):
    """Something that happened, exactly as it is told; written with the change itself.

    `number` follows the order of writing. `position` is given after the commit, one at a time
    under a lock, so that a reader who has seen position N never misses one below it.
    """

    number = models.BigAutoField(primary_key=True)
    id = models.UUIDField(unique=True, default=new_id, editable=False)
    type = models.CharField(max_length=50)
    dealer = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, null=True, related_name="+", db_index=False
    )
    workshop = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, null=True, related_name="+", db_index=False
    )
    # What the event is about (a job): notices about one subject keep their order.
    subject_id: "models.UUIDField" = models.UUIDField()  # type: ignore[type-arg]
    only_endpoint = models.ForeignKey(
        Endpoint, on_delete=models.CASCADE, null=True, related_name="+"
    )
    occurred_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    body = models.TextField(help_text="The notice, byte for byte as it is signed and sent.")
    position = models.BigIntegerField(null=True, unique=True)
    # To every endpoint that is on, whatever types it asked for.
    urgent = models.BooleanField(default=False, db_default=False)
    # E-mail addresses of the dealer's that get it as well, registered or not, one a line.
    also_to = models.TextField(blank=True, default="", db_default="", editable=False)
    # Endpoints that take one of these types take it too, one a line: it puts right what they had.
    also_types = models.TextField(blank=True, default="", db_default="", editable=False)
    # What only the dealer's e-mails say beside the body (links, a price): JSON, sealed.
    letter = models.TextField(blank=True, default="", db_default="", editable=False)
    # Of which trace the request was, as W3C Trace Context writes it; empty where none is kept.
    trace = models.CharField(max_length=55, blank=True, default="", db_default="", editable=False)

    class Meta:
        indexes = [
            models.Index(fields=["dealer", "position"], name="event_feed_dealer"),
            models.Index(fields=["workshop", "position"], name="event_feed_workshop"),
            models.Index(
                fields=["number"], condition=Q(position__isnull=True), name="event_not_placed"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.type} {self.id}"


class Delivery(models.Model):
    """One event on its way to one endpoint; `waiting` until it arrived or was given up."""

    class State(models.TextChoices):
        WAITING = "waiting", "waiting"
        DELIVERED = "delivered", "delivered"
        FAILED = "failed", "given up after the last attempt"
        STOPPED = "stopped", "stopped, the endpoint is off"

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    # No indexes of their own: delivery_once and delivery_list begin with these.
    event = models.ForeignKey(
        Event, on_delete=models.PROTECT, related_name="deliveries", db_index=False
    )
    endpoint = models.ForeignKey(
        Endpoint, on_delete=models.PROTECT, related_name="deliveries", db_index=False
    )
    subject_id: "models.UUIDField" = models.UUIDField()  # type: ignore[type-arg]
    state = models.CharField(max_length=10, choices=State.choices, default=State.WAITING)
    tries = models.PositiveSmallIntegerField(default=0, help_text="Attempts in this round.")
    next_attempt_at = models.DateTimeField()
    claimed_until = models.DateTimeField(null=True)
    last_status = models.PositiveSmallIntegerField(null=True)
    last_error = models.CharField(max_length=300, blank=True)
    finished_at = models.DateTimeField(null=True)
    created_at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["event", "endpoint"], name="delivery_once")]
        indexes = [
            models.Index(
                fields=["endpoint", "next_attempt_at", "event"],
                condition=Q(state="waiting"),
                name="delivery_due",
            ),
            models.Index(
                fields=["claimed_until", "endpoint"],
                condition=Q(claimed_until__isnull=False),
                name="delivery_in_flight",
            ),
            models.Index(
                fields=["endpoint", "subject_id", "event"],
                condition=Q(state="waiting"),
                name="delivery_order",
            ),
            models.Index(fields=["endpoint", "-id"], name="delivery_list"),
        ]
        verbose_name_plural = "deliveries"

    def __str__(self) -> str:
        return f"{self.event_id} to {self.endpoint_id}"


class Attempt(models.Model):
    """One try: what the other side answered, and how long it took."""

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    delivery = models.ForeignKey(  # attempt_by_delivery begins with it
        Delivery, on_delete=models.CASCADE, related_name="attempts", db_index=False
    )
    started_at = models.DateTimeField()
    status = models.PositiveSmallIntegerField(null=True, help_text="Empty: no answer came.")
    milliseconds = models.PositiveIntegerField()
    answer = models.TextField(blank=True, help_text="The first 1 KiB of the answer.")
    error = models.CharField(max_length=300, blank=True)

    class Meta:
        indexes = [models.Index(fields=["delivery", "id"], name="attempt_by_delivery")]

    def __str__(self) -> str:
        return f"{self.status or self.error} at {self.started_at:%Y-%m-%d %H:%M:%S}"
