"""Organisations, the trade accounts between them, their people and their API keys."""

from typing import Any, ClassVar

from django.contrib.auth.models import AbstractBaseUser, BaseUserManager, PermissionsMixin
from django.db import models
from django.db.models import F, Q
from rest_framework_api_key.models import AbstractAPIKey, APIKeyManager

from accounts.caller import Scope, Side
from core.ids import new_id


class Organisation(models.Model):
    """A dealer or a workshop."""

    class Kind(models.TextChoices):
        DEALER = Side.DEALER.value, "dealer"
        WORKSHOP = Side.WORKSHOP.value, "workshop"

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    kind = models.CharField(max_length=10, choices=Kind.choices)
    name = models.CharField(max_length=120)
    contact_email = models.EmailField(
        blank=True,
        help_text="Warnings about failing endpoints and about cars not to be driven go here.",
    )
    # Counts the changes to what GET /ready shows this dealer: the ETag and the cursor of that
    # feed. Raised under the row's lock by whoever changes the list, so it follows commit order.
    ready_version = models.PositiveBigIntegerField(default=0, editable=False)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["kind", "name"], name="organisation_name_once"),
            models.CheckConstraint(
                condition=Q(kind__in=[side.value for side in Side]), name="organisation_kind_known"
            ),
        ]

    def __str__(self) -> str:
        return self.name


class TradeAccount(models.Model):
    """What a dealer and a workshop have agreed with each other."""

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    dealer = models.ForeignKey(
        Organisation,
        on_delete=models.PROTECT,
        related_name="workshop_accounts",
        limit_choices_to={"kind": Side.DEALER.value},
        db_index=False,
    )
    workshop = models.ForeignKey(
        Organisation,
        on_delete=models.PROTECT,
        related_name="dealer_accounts",
        limit_choices_to={"kind": Side.WORKSHOP.value},
    )
    accepts_by_itself = models.BooleanField(
        default=True, help_text="Off: the workshop is asked to accept or decline each order."
    )
    active = models.BooleanField(default=True)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["dealer", "workshop"], name="trade_account_once"),
            models.CheckConstraint(
                condition=~Q(dealer=F("workshop")), name="trade_account_two_sides"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.dealer} with {self.workshop}"


class PersonManager(BaseUserManager["Person"]):
    """Makes people; used by Django's own commands."""

    def create_user(self, email: str, password: str | None = None, **fields: Any) -> "Person":
        """Make one person with a hashed password."""
        person = self.model(email=self.normalize_email(email).lower(), **fields)
        person.set_password(password)
        person.save(using=self._db)
        return person

    def create_superuser(self, email: str, password: str | None = None, **fields: Any) -> "Person":
        """Make an operator, who belongs to no organisation."""
        return self.create_user(email, password, is_staff=True, is_superuser=True, **fields)


class Person(AbstractBaseUser, PermissionsMixin):
    """Somebody who signs in: at a workshop, at a dealer, or the operator."""

    class Role(models.TextChoices):
        OWNER = "owner", "owner (workshop)"
        MANAGER = "manager", "manager (workshop)"
        VALETER = "valeter", "valeter (workshop)"
        STAFF = "staff", "staff (dealer)"

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    email = models.EmailField(unique=True)
    name = models.CharField(max_length=120)
    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="people", null=True, blank=True
    )
    role = models.CharField(max_length=10, choices=Role.choices, blank=True)
    is_active = models.BooleanField(default=True)
    is_staff = models.BooleanField("operator", default=False)
    # The short number that changes the person at a workshop's tablet; only its hash is kept.
    pin = models.CharField(max_length=128, blank=True, default="", db_default="", editable=False)
    pin_failures = models.PositiveSmallIntegerField(default=0, db_default=0, editable=False)
    pin_blocked_until = models.DateTimeField(null=True, editable=False)
    created_at = models.DateTimeField(auto_now_add=True)

    objects: ClassVar[PersonManager] = PersonManager()

    USERNAME_FIELD = "email"
    REQUIRED_FIELDS: ClassVar[list[str]] = ["name"]

    class Meta:
        verbose_name_plural = "people"

    def __str__(self) -> str:
        return self.name


class Device(models.Model):
    """A workshop's tablet: somebody signed in on it once, and since then a PIN changes the person.

    The tablet carries a secret in a cookie; only its hash is kept.
    """

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    workshop = models.ForeignKey(Organisation, on_delete=models.PROTECT, related_name="devices")
    name = models.CharField(max_length=60)
    secret_hash = models.CharField(max_length=64, unique=True, editable=False)
    # The secret before: good until the new one has come back, for its answer may have got lost.
    previous_hash = models.CharField(
        max_length=64, blank=True, default="", db_default="", db_index=True, editable=False
    )
    secret_at = models.DateTimeField(null=True, editable=False)
    added_by = models.CharField(max_length=120)
    made_by = models.ForeignKey(
        Person, on_delete=models.PROTECT, related_name="devices_made", null=True, editable=False
    )
    added_at = models.DateTimeField()
    last_used_at = models.DateTimeField(null=True)
    revoked_at = models.DateTimeField(null=True)

    def __str__(self) -> str:
        return self.name


class Guesses(models.Model):
    """How many wrong passwords or PINs there were under a subject in a quarter of an hour."""

    id = models.BigAutoField(primary_key=True)
    window = models.BigIntegerField()
    # A keyed hash, so that the table does not say who was tried, or from where.
    subject = models.CharField(max_length=64)
    count = models.PositiveIntegerField(default=0)

    class Meta:
        verbose_name_plural = "guesses"
        constraints = [
            models.UniqueConstraint(fields=["window", "subject"], name="guesses_counted_once")
        ]

    def __str__(self) -> str:
        return f"{self.subject}: {self.count}"


class KnownPlace(models.Model):
    """An address where a person has signed in; only its keyed hash is kept."""

    id = models.BigAutoField(primary_key=True)
    person = models.ForeignKey(
        Person, on_delete=models.CASCADE, related_name="known_places", db_index=False
    )
    place = models.CharField(max_length=64)
    last_used_at = models.DateTimeField(db_index=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["person", "place"], name="known_place_once")]

    def __str__(self) -> str:
        return self.place


class ApiKeyManager(APIKeyManager):
    """Makes keys that go by their prefix: the library's own id would carry the hash about."""

    def assign_key(self, obj: AbstractAPIKey) -> str:
        """Give a new key its secret, and return that."""
        secret: str = super().assign_key(obj)
        obj.pk = obj.prefix
        return secret


class ApiKey(AbstractAPIKey):
    """A system's key: only its hash is kept, so it can be shown once only."""

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="api_keys"
    )
    scopes = models.JSONField(default=list, help_text=f"Any of: {', '.join(Scope)}.")
    last_used_at = models.DateTimeField(null=True, blank=True, editable=False)
    # It may never do more than they may; nobody: the operator made it.
    made_by = models.ForeignKey(
        Person,
        on_delete=models.PROTECT,
        related_name="keys_made",
        null=True,
        blank=True,
        editable=False,
    )

    objects: ClassVar[ApiKeyManager] = ApiKeyManager()

    class Meta(AbstractAPIKey.Meta):
        abstract = False


# What a role may do, in the words a key's scopes use.
_HEADS = frozenset(Scope) - {Scope.ORDER}
ROLE_SCOPES: dict[str, frozenset[Scope]] = {
    Person.Role.OWNER: _HEADS,
    Person.Role.MANAGER: _HEADS,
    Person.Role.VALETER: frozenset({Scope.READ, Scope.WORK}),
    Person.Role.STAFF: frozenset({Scope.READ, Scope.ORDER, Scope.NOTICES, Scope.PRICES}),
}
SIDE_ROLES: dict[str, frozenset[str]] = {
    Side.WORKSHOP: frozenset({Person.Role.OWNER, Person.Role.MANAGER, Person.Role.VALETER}),
    Side.DEALER: frozenset({Person.Role.STAFF}),
}
SIDE_SCOPES: dict[str, frozenset[Scope]] = {
    Side.WORKSHOP: _HEADS,
    Side.DEALER: ROLE_SCOPES[Person.Role.STAFF],
}
# Who may make a browser the workshop's tablet; it is none any more when they may not.
TABLET_MAKERS = frozenset({Person.Role.OWNER, Person.Role.MANAGER})


class PagesVersion(models.Model):
    """A share of the count of changes to what an organisation's pages show.

    Triggers of the database count (`accounts/pages_version.py`), so that nobody who writes can
    forget it. The count is the sum of the organisation's rows: whoever finds them locked makes one
    of their own and waits for nobody. No foreign key, since no row may keep a writer waiting.
    """

    id = models.BigAutoField(primary_key=True)
    organisation_id = models.UUIDField()
    count = models.PositiveBigIntegerField()

    class Meta:
        indexes = [models.Index(fields=["organisation_id"], name="pages_version_of")]

    def __str__(self) -> str:
        return f"{self.organisation_id}: {self.count}"
