"""Whatever happens to a job, pages tell it in a sentence; none gives away what it must not."""

import pytest

from jobs.work.calc.stages.machine import Kind
from jobs.work.models import HistoryEntry
from jobs.work.words.jobs.history import sentence
from tests.api.steps import arrived, detail, done
from tests.scene import Scene


@pytest.mark.parametrize("kind", list(Kind))
def test_every_kind_of_entry_has_a_sentence(kind: Kind) -> None:
    said = sentence(HistoryEntry(kind=kind.value, from_stage="intake", to_stage="cleaning"))
    assert said.endswith(".")
    assert said[0].isupper() or said[0].isdigit() or kind in {Kind.SUPPLIED_TICKED, Kind.FINDING}


def test_a_day_reads_as_somebody_would_tell_it(scene: Scene) -> None:
    api = scene.workshop_api()
    job = arrived(scene)
    task = detail(api, job)["tasks"][0]
    done(api.post(f"/jobs/{job['id']}/tasks/{task['id']}/start"))
    done(api.post(f"/jobs/{job['id']}/holds", {"cause": "parts", "reason": "Trim to come"}))
    sentences = [
        sentence(entry) for entry in HistoryEntry.objects.filter(job_id=job["id"]).order_by("pk")
    ]
    assert sentences == [
        "The work order came in.",
        "The order was accepted by itself, as agreed.",
        "The car arrived.",
        "Started: wash and dry the body.",
        "On hold: waits for parts. Trim to come.",
    ]


def test_belongings_and_amounts_are_never_told(scene: Scene) -> None:
    job = arrived(scene, cap_amount="250.00", cap_currency="GBP")
    wallet = {
        "kind": "belongings",
        "weight": "for_information",
        "area": "dashboard",
        "noticed": "A brown wallet with cards.",
        "belonging": {"what": "item", "kept_at": "Key safe"},
    }
    done(scene.workshop_api().post(f"/jobs/{job['id']}/findings", wallet))
    done(scene.dealer_api().patch(f"/work-orders/{job['id']}", {"cap_amount": "300.00"}))
    text = " ".join(map(sentence, HistoryEntry.objects.filter(job_id=job["id"])))
    assert "Belongings were found in the car." in text
    assert "The order changed: cap amount." in text
    for secret in ("wallet", "Key safe", "250", "300"):
        assert secret not in text
