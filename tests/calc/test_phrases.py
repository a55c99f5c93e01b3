"""The ready phrases: enough, each fit to be stored, none of them a diagnosis."""

import re
from collections import Counter

import pytest

from jobs.work.calc.findings import INSPECT, FindingKind, Weight, caution_for
from jobs.work.words.findings import LONGEST_CODE, STANDARD, Phrase

PHRASES = list(STANDARD.values())
# A valeter says what is seen, heard or smelt; these words name a cause or a part inside.
DIAGNOSES = re.compile(
    r"\b(worn out|failed|failing|faulty|broken|gasket|bearing|joint|pump|injector|sensor|because"
    r"|caused|due to|probably|diagnos)",
    re.IGNORECASE,
)


def ids(phrase: Phrase) -> str:
    return phrase.code


def test_there_are_plenty_in_every_group_and_of_every_kind() -> None:
    assert len(PHRASES) >= 60
    groups = Counter(phrase.group for phrase in PHRASES)
    assert len(groups) >= 10
    assert min(groups.values()) >= 4
    assert {phrase.kind for phrase in PHRASES} == set(FindingKind)
    assert {phrase.weight for phrase in PHRASES} == set(Weight)


@pytest.mark.parametrize("phrase", PHRASES, ids=ids)
def test_a_phrase_fits_its_columns_and_reads_as_a_sentence(phrase: Phrase) -> None:
    assert re.fullmatch(r"[a-z][a-z0-9_]*", phrase.code)
    assert len(phrase.code) <= LONGEST_CODE
    assert len(phrase.group) <= 40
    assert phrase.noticed[0].isupper()
    assert phrase.noticed.endswith(".")
    assert len(phrase.noticed) <= 500
    assert len(phrase.circumstance) <= 200
    assert not phrase.circumstance.endswith(".")
    assert len(phrase.advice) <= 500
    assert phrase.advice == "" or phrase.advice.endswith(".")


@pytest.mark.parametrize("phrase", PHRASES, ids=ids)
def test_a_phrase_says_what_was_noticed_and_diagnoses_nothing(phrase: Phrase) -> None:
    assert not DIAGNOSES.search(phrase.noticed)


def test_what_is_said_twice_is_said_once() -> None:
    assert max(Counter(phrase.noticed for phrase in PHRASES).values()) == 1


@pytest.mark.parametrize("phrase", PHRASES, ids=ids)
def test_what_keeps_a_car_off_the_road_carries_caution_and_advice(phrase: Phrase) -> None:
    if phrase.weight is Weight.DO_NOT_DRIVE:
        assert caution_for(phrase.kind, phrase.weight) == INSPECT
        assert phrase.advice
        assert phrase.kind is not FindingKind.BELONGINGS


@pytest.mark.parametrize("kind", FindingKind)
@pytest.mark.parametrize("weight", Weight)
def test_mechanical_and_safety_findings_carry_the_caution(
    kind: FindingKind, weight: Weight
) -> None:
    technical = {FindingKind.MECHANICAL, FindingKind.ELECTRICAL, FindingKind.WHEELS_AND_TYRES}
    seen_and_see = kind is FindingKind.GLASS_AND_LIGHTS and weight is Weight.BEFORE_SALE
    wanted = kind in technical or weight is Weight.DO_NOT_DRIVE or seen_and_see
    assert bool(caution_for(kind, weight)) is wanted
    assert caution_for(kind, weight) in {"", INSPECT}
    assert "qualified technician" in INSPECT
