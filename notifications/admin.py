"""The operator's view of notices: what was sent where, and a switch for each endpoint."""

from functools import reduce
from operator import or_
from typing import Any, ClassVar
from uuid import UUID

from django import forms
from django.contrib import admin
from django.db.models import Q, QuerySet
from django.http import HttpRequest

from core.look_only import LookOnlyAdmin
from notifications.catalogue import event_types
from notifications.models import Attempt, Delivery, Endpoint, Event
from notifications.services.endpoints import endpoint_switch

Rows = QuerySet[Any]
OK_STATUS = range(200, 300)  # Standard Webhooks 1.0.0: nothing else is success


class TypeFilter(admin.SimpleListFilter):
    """By event type, from the catalogue: reading the types off the table would scan it."""

    title, parameter_name = "type", "type"
    column: ClassVar[str] = "type"

    def lookups(self, request: HttpRequest, model_admin: Any) -> list[tuple[str, str]]:
        del request, model_admin
        return [(name, name) for name in event_types()]

    def queryset(self, request: HttpRequest, queryset: Rows) -> Rows:
        del request
        value = self.value()
        return queryset.filter(**{self.column: value}) if value else queryset


class TypeOfDeliveryFilter(TypeFilter):
    """The same for deliveries."""

    column = "event__type"


class OutcomeFilter(admin.SimpleListFilter):
    """By what came back."""

    title, parameter_name = "outcome", "outcome"

    def lookups(self, request: HttpRequest, model_admin: Any) -> list[tuple[str, str]]:
        del request, model_admin
        return [("taken", "taken"), ("refused", "another status"), ("none", "no answer")]

    def queryset(self, request: HttpRequest, queryset: Rows) -> Rows:
        del request
        taken = {"status__gte": OK_STATUS.start, "status__lt": OK_STATUS.stop}
        match self.value():
            case "taken":
                return queryset.filter(**taken)
            case "refused":
                return queryset.filter(status__isnull=False).exclude(**taken)
            case "none":
                return queryset.filter(status__isnull=True)
            case _:
                return queryset


class LookedUpById(LookOnlyAdmin):
    """Shows rows, and is searched by whole ids: large tables are not searched by text."""

    id_columns: ClassVar[tuple[str, ...]] = ("pk",)
    search_fields = ("pk",)  # makes Django show the box; get_search_results does the work
    search_help_text = "A whole id."
    show_full_result_count = False

    def get_search_results(
        self, request: HttpRequest, queryset: Rows, search_term: str
    ) -> tuple[Rows, bool]:
        """Match any of the id columns exactly."""
        del request
        if not search_term.strip():
            return queryset, False
        try:
            wanted = UUID(search_term.strip())
        except ValueError:
            return queryset.none(), False
        matches = [Q(**{column: wanted}) for column in self.id_columns]
        return queryset.filter(reduce(or_, matches)), False


@admin.register(Event)
class EventAdmin(LookedUpById):
    """What happened, as it is told."""

    list_display = ("number", "position", "type", "dealer", "workshop", "recorded_at", "id")
    list_filter = (
        TypeFilter,
        ("position", admin.EmptyFieldListFilter),
        "recorded_at",
        "dealer",
        "workshop",
    )
    list_select_related = ("dealer", "workshop")
    ordering = ("-number",)
    id_columns = ("id", "subject_id")
    search_help_text = "A whole id, of the event or of what it is about (a job)."
    fields = (
        "id",
        "type",
        "number",
        "position",
        "dealer",
        "workshop",
        "subject_id",
        "only_endpoint",
        "occurred_at",
        "recorded_at",
        "urgent",
        "also_to",
        "body",
    )


@admin.register(Delivery)
class DeliveryAdmin(LookedUpById):
    """What is on its way to whom, and what became of it."""

    list_display = (
        "id",
        "event_type",
        "endpoint",
        "state",
        "tries",
        "next_attempt_at",
        "last_status",
        "last_error",
        "created_at",
    )
    list_filter = (
        "state",
        TypeOfDeliveryFilter,
        "endpoint__channel",
        "endpoint__organisation",
        "next_attempt_at",
    )
    list_select_related = ("event", "endpoint")
    ordering = ("-id",)
    id_columns = ("id", "event__id", "endpoint_id", "subject_id")
    search_help_text = "A whole id, of the delivery, the event, the endpoint or the job."

    @admin.display(description="type", ordering="event__type")
    def event_type(self, delivery: Delivery) -> str:
        """Return the type of the event."""
        return delivery.event.type


@admin.register(Attempt)
class AttemptAdmin(LookedUpById):
    """Every try, with what came back."""

    list_display = ("started_at", "endpoint", "status", "milliseconds", "error", "delivery_id")
    list_filter = (OutcomeFilter, "started_at", "delivery__endpoint__organisation")
    list_select_related = ("delivery__endpoint",)
    ordering = ("-id",)
    id_columns = ("id", "delivery_id", "delivery__event__id", "delivery__endpoint_id")
    search_help_text = "A whole id, of the attempt, the delivery, the event or the endpoint."

    @admin.display(description="to")
    def endpoint(self, attempt: Attempt) -> str:
        """Return where it went."""
        return attempt.delivery.endpoint.address


class EndpointForm(forms.ModelForm):  # type: ignore[type-arg]  # subscripts for the checker only
    """On or off; `disabled` is the service's own word and can only be left."""

    class Meta:
        model = Endpoint
        fields = ("state",)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        open_states = {Endpoint.State.ON, Endpoint.State.OFF, self.instance.state}
        choices = [choice for choice in Endpoint.State.choices if choice[0] in open_states]
        self.fields["state"] = forms.ChoiceField(choices=choices)


@admin.register(Endpoint)
class EndpointAdmin(LookedUpById):
    """Where organisations want their notices; secrets are shown nowhere."""

    form = EndpointForm
    list_display = (
        "address",
        "channel",
        "organisation",
        "state",
        "state_reason",
        "failing_since",
        "created_at",
        "direct",
    )
    list_filter = (
        "state",
        "channel",
        "direct",
        ("failing_since", admin.EmptyFieldListFilter),
        ("deleted_at", admin.EmptyFieldListFilter),
        "organisation",
    )
    list_select_related = ("organisation",)
    ordering = ("-id",)
    readonly_fields = (
        "organisation",
        "channel",
        "address",
        "description",
        "event_types",
        "state_reason",
        "failing_since",
        "warned_at",
        "slowed_until",
        "old_secret_until",
        "created_at",
        "deleted_at",
        "direct",
    )
    fields = ("state", *readonly_fields)

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Allow what ModelAdmin allows, but leave deleted endpoints as they are."""
        if isinstance(obj, Endpoint) and obj.deleted_at is not None:
            return False
        return admin.ModelAdmin.has_change_permission(self, request, obj)

    def save_model(self, request: HttpRequest, obj: Any, form: Any, change: Any) -> None:
        """Switch it as an owner would, with the same consequences."""
        del obj, change
        if "state" in form.changed_data:
            endpoint_switch(
                endpoint_id=form.instance.pk,
                on=form.cleaned_data["state"] == Endpoint.State.ON,
                by=f"the operator, {request.user}",
            )
