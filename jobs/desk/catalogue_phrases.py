"""Ready phrases as the desk edits them."""

from collections.abc import Mapping
from typing import Any
from uuid import UUID

from django.http import QueryDict

from accounts.caller import Caller
from core.forms import Field
from jobs.desk.catalogue import Entry, Shelf
from jobs.work.calc.findings import FindingKind, Weight
from jobs.work.inputs.findings import PhraseChangeInput, PhraseInput
from jobs.work.models import Phrase
from jobs.work.selectors.findings.phrases import phrases_of, wording_of
from jobs.work.services.findings.phrases import (
    NewPhrase,
    PhraseChange,
    phrase_add,
    phrase_change,
    phrase_remove,
)
from jobs.work.words.findings import STANDARD

WEIGHTS = {
    Weight.DO_NOT_DRIVE: "Do not drive",
    Weight.BEFORE_SALE: "Before sale",
    Weight.FOR_INFORMATION: "For information",
}
FIELDS = ("noticed", "circumstance", "advice", "weight", "kind", "group")


class Phrases(Shelf):
    """What a valeter picks instead of typing with wet gloves."""

    one, many = "phrase", "phrases"
    about = (
        "What a valeter picks at the car instead of typing: what was noticed, never a diagnosis."
    )
    added = "It stands on the tablet from now on."
    add_input, change_input = PhraseInput, PhraseChangeInput

    def entries(self, workshop_id: UUID) -> list[Entry]:
        found = phrases_of(workshop_id, hidden=True)
        groups = list(dict.fromkeys(phrase.group for phrase in found))
        found.sort(key=lambda phrase: groups.index(phrase.group))
        return [self._entry(phrase) for phrase in found]

    @staticmethod
    def _entry(phrase: Phrase) -> Entry:
        words = [phrase.circumstance, phrase.advice]
        return Entry(
            code=phrase.code,
            name=phrase.noticed,
            group=phrase.group[:1].upper() + phrase.group[1:],
            wording=wording_of(phrase),
            hidden=phrase.hidden,
            facts=[WEIGHTS[Weight(phrase.weight)], *filter(None, words)],
            thing=phrase,
        )

    def fields(self, workshop_id: UUID, entry: Entry | None) -> list[Field]:
        del workshop_id, entry
        groups = ", ".join(dict.fromkeys(phrase.group for phrase in STANDARD.values()))
        kinds = [(kind.value, kind.value.replace("_", " ").capitalize()) for kind in FindingKind]
        return [
            Field("noticed", "What was noticed", "textarea", longest=500, required=True),
            Field("circumstance", "When", longest=200, hint="As in: on full lock, moving."),
            Field("advice", "Advice to the dealer", "textarea", longest=500),
            Field(
                "weight",
                "How much it matters",
                "choice",
                choices=[(weight.value, words) for weight, words in WEIGHTS.items()],
                value=Weight.FOR_INFORMATION.value,
            ),
            Field("kind", "Kind", "select", choices=kinds, value=FindingKind.INTERIOR.value),
            Field(
                "group",
                "Stands under",
                longest=40,
                required=True,
                hint=f"One of these, or a word of your own: {groups}.",
            ),
        ]

    def standing(self, entry: Entry) -> Mapping[str, Any]:
        return {name: getattr(entry.thing, name) for name in FIELDS}

    def words_of(self, typed: QueryDict) -> str:
        return typed.get("noticed", "")

    def add(self, caller: Caller, values: Mapping[str, Any]) -> None:
        phrase_add(caller=caller, phrase=NewPhrase(**values))

    def change(self, caller: Caller, code: str, values: Mapping[str, Any]) -> None:
        phrase_change(caller=caller, code=code, changes=PhraseChange(**values))

    def remove(self, caller: Caller, code: str) -> None:
        phrase_remove(caller=caller, code=code)
