"""An amount of money is shown to nobody who was not let in, also one that is new."""

from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from django.db import models
from django.test.utils import isolate_apps
from django.urls import get_resolver

from accounts.caller import Scope
from core.api.serializers import OutputModelSerializer
from core.money import amounts_of
from jobs.work.answers.jobs.outputs import HistoryEntryOutput
from jobs.work.models import HistoryEntry, Job, WorkRequest
from tests.api.steps import done, posted
from tests.scene import DEALER_SCOPES, Scene, key_api

AMOUNT = "60.00"


def shown(scene: Scene, *without: Scope) -> Any:
    job = posted(scene.dealer_api(), cap_amount=AMOUNT)
    scopes = [scope for scope in DEALER_SCOPES if scope not in without]
    return done(key_api(scene.dealer, scopes).get(f"/jobs/{job['id']}"))


def test_the_amounts_there_are() -> None:
    assert amounts_of(Job) == {"cap_amount"}
    assert amounts_of(WorkRequest) == {"price"}


@isolate_apps("jobs")
def test_a_new_amount_is_closed_without_anybodys_help() -> None:
    class Parked(models.Model):
        bay = models.CharField(max_length=4)
        fee = models.DecimalField(max_digits=6, decimal_places=2)

        class Meta:
            app_label = "jobs"

        def __str__(self) -> str:
            return self.bay

    class ParkedOutput(OutputModelSerializer):
        class Meta:
            model = Parked
            fields = ("bay", "fee")

    parked = Parked(bay="B2", fee=Decimal("4.50"))
    assert ParkedOutput(parked).data == {"bay": "B2", "fee": None}
    assert ParkedOutput(parked, context={"shows_money": True}).data["fee"] == Decimal("4.50")


def test_it_needs_the_scope(scene: Scene) -> None:
    assert shown(scene)["cap_amount"] == AMOUNT


def test_without_the_scope_it_is_null(scene: Scene) -> None:
    assert shown(scene, Scope.PRICES)["cap_amount"] is None


def test_every_answer_made_from_a_model_with_an_amount_leaves_it_out_by_default() -> None:
    def all_outputs(base: type[OutputModelSerializer]) -> Iterator[type[OutputModelSerializer]]:
        for output in base.__subclasses__():
            if output.__module__.startswith("tests."):
                continue
            yield output
            yield from all_outputs(output)

    assert get_resolver().url_patterns  # every module with an answer is loaded by now
    looked_at: set[str] = set()
    for output in all_outputs(OutputModelSerializer):
        amounts = amounts_of(output.Meta.model) & set(output.Meta.fields)
        for name in amounts:
            declared = output._declared_fields.get(name)
            assert declared is None, f"{output.__name__}.{name} is declared, and passes the rule by"
            looked_at.add(output.__name__)
    assert {"JobOutput", "JobDetailOutput", "RequestOutput"} <= looked_at


def test_a_changed_amount_is_named_and_rendering_changes_no_instance() -> None:
    changes = [
        {"field": "cap_amount", "was": AMOUNT, "now": "80.00"},
        {"field": "colour", "was": "Slate", "now": "Slate grey"},
    ]
    entry = HistoryEntry(kind="changed", data={"changes": changes})
    hidden: Any = HistoryEntryOutput(entry).data
    assert hidden["data"]["changes"] == [
        {"field": "cap_amount", "was": None, "now": None},
        changes[1],
    ]
    assert entry.data["changes"] == changes
    seen: Any = HistoryEntryOutput(entry, context={"shows_money": True}).data
    assert seen["data"]["changes"] == changes
