"""Export: all that is kept of somebody, no secret, and nothing of a stranger."""

import io
import json
import stat
from pathlib import Path
from typing import Any
from zipfile import ZipFile

import pytest
from django.core.management import CommandError, call_command

from accounts.models import ApiKey
from jobs.work.models import HistoryEntry, Rendition
from notifications.models import Endpoint, Event
from tests.notifications.notices import add_webhook
from tests.retention.conftest import Marked
from tests.retention.marked import PRIVATE, WORDS
from tests.scene import key_api

pytestmark = pytest.mark.django_db


def exported(path: Path, *who: str) -> dict[str, list[Any]]:
    """Export somebody by the command and return the rows, table by table, and the files' names."""
    out = io.StringIO()
    call_command("export_data", *who, "--to", str(path), "--json", stdout=out)
    with ZipFile(path) as archive:
        names = archive.namelist()
        tables: dict[str, list[Any]] = {
            name.removesuffix(".jsonl"): [json.loads(line) for line in archive.open(name)]
            for name in names
            if name.endswith(".jsonl")
        }
    pictures = [name for name in names if name.startswith("pictures/")]
    said = json.loads(out.getvalue())
    assert said["pictures"] == len(pictures)
    assert said["rows"] == sum(map(len, tables.values()))
    return {**tables, "pictures": pictures}


@pytest.mark.parametrize("side", ["dealer", "workshop"])
def test_an_organisation_gets_all_that_is_kept_of_it(
    marked: Marked, tmp_path: Path, side: str
) -> None:
    place = getattr(marked.scene, side)
    add_webhook(key_api(place))
    tables = exported(tmp_path / "all.zip", "--organisation", place.name)
    assert [row["id"] for row in tables["jobs.Job"]] == [marked.car["id"]]
    assert len(tables["jobs.HistoryEntry"]) == HistoryEntry.objects.count()
    assert len(tables["notifications.Event"]) == Event.objects.count()
    assert len(tables["pictures"]) == Rendition.objects.count() == 8
    text = json.dumps(tables)
    assert PRIVATE in text
    assert WORDS in text
    assert ("jobs.Spell" in tables) == (side == "workshop")


def test_no_secret_is_in_it(marked: Marked, tmp_path: Path) -> None:
    add_webhook(key_api(marked.scene.dealer))
    text = json.dumps(exported(tmp_path / "all.zip", "--organisation", "Brackmoor Cars"))
    assert '"secret"' not in text
    assert '"old_secret"' not in text
    assert "hashed_key" not in text
    assert "letter" not in json.dumps(list(json.loads(text)["notifications.Event"][0]))
    for key in ApiKey.objects.all():
        assert key.hashed_key not in text
    for endpoint in Endpoint.objects.exclude(secret=""):
        assert endpoint.secret not in text
    for person in marked.scene.dealer.people.all():
        assert person.password not in text


def test_a_stranger_gets_nothing_of_it(marked: Marked, tmp_path: Path) -> None:
    stranger = marked.scene.stranger_dealer.name
    tables = exported(tmp_path / "none.zip", "--organisation", stranger)
    assert set(tables) == {"accounts.Organisation", "accounts.TradeAccount", "pictures"}
    assert tables["pictures"] == []


def test_a_person_gets_what_names_them(marked: Marked, tmp_path: Path) -> None:
    manager = marked.scene.manager
    tables = exported(tmp_path / "one.zip", "--person", manager.email)
    assert [row["email"] for row in tables["accounts.Person"]] == [manager.email]
    for row in tables["jobs.HistoryEntry"]:
        assert row["actor_person_id"] == str(manager.pk) or manager.name in json.dumps(row)
    mine = HistoryEntry.objects.filter(actor_person_id=manager.pk)
    assert len(tables["jobs.HistoryEntry"]) >= mine.count() > 5


def test_somebody_who_is_only_written_about_gets_those_rows(marked: Marked, tmp_path: Path) -> None:
    assert marked.car
    who = ("--organisation", "Brackmoor Cars", "--words", PRIVATE)
    tables = exported(tmp_path / "words.zip", *who)
    del tables["pictures"]
    assert {"jobs.Job", "jobs.Finding", "jobs.WalkRound", "jobs.HistoryEntry"} <= set(tables)
    rows = [json.dumps(row).lower() for found in tables.values() for row in found]
    assert [row for row in rows if PRIVATE.lower() not in row] == []


@pytest.mark.usefixtures("marked")
def test_no_file_is_overwritten_and_none_is_for_others(tmp_path: Path) -> None:
    path = tmp_path / "all.zip"
    exported(path, "--organisation", "Brackmoor Cars")
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    before = path.read_bytes()
    with pytest.raises(CommandError, match="Name another file"):
        exported(path, "--organisation", "Brackmoor Cars")
    assert path.read_bytes() == before
