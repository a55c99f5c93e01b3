"""`manage.py demo`: the day ends well, and its verdict does not pass over what is missing."""

import os
import re
import signal
import socket
import subprocess
import sys
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from jobs.demo.ledger import FeedEntry, Ledger, Notice, Receipt
from jobs.demo.service import zone_name, zone_where_the_day_ends
from tests.patience import PATIENCE_SECONDS
from tests.reliability.service import ROOT

WIDTH = 100
RECEIVED = Notice("work_order.received", "job-1", 1)
ARRIVED = Notice("job.arrived", "job-1", 2)
READY = Notice("job.ready", "job-1", 3)
WAY = (RECEIVED, ARRIVED, READY)
# What the day shows of condition, evidence and decisions; line breaks as single spaces.
SHOWN = (
    "walk-round on arrival: 28,904 miles",
    "photographs the car, left side, before sent again with the same client_id: one photograph",
    r"needs attention before sale, 2 pictures.+? finding\.reported [\d,]+ ms signature good",
    "4 files, 4 the same bytes as the API serves Quillhaven office tries the same links: 4 times",
    "11 panels, usual 112 µm: bonnet much thicker than the rest, 261 µm",
    "offered by the paint survey, sent by hand",
    r"asks for extra work: .+? > mail request\.opened [\d,]+ ms id as in the feed",
    "approves by the link in the e-mail.+? pressed a second time: 409",
    "supplied by the dealer, Side marker lens: fitted",
    "not signed back.+? hands the belongings back.+? walk-round on leaving: 28,905 miles",
    r"The mileage grew by 1 mile\. Fuel fell from 45 % to 44 %\.",
    r"coat 2, colour: flashes off until (15:0\d).+? 409 flashing off until \1",
    r"done between 14:\d\d and .+? reads 18 °C and 52 % .+? job\.wait_changed",
    "Nobody has felt yet whether it is dry.+? feels the seats: dry",
    r"still cures, until .+? read at 15:50 and sent only now > webhook job\.wait_changed",
    r"do not drive.+? > webhook finding\.reported .+? > mail finding\.reported .+? job\.held",
    "409 Not possible now: The job is on hold.+? Ines Okafor-Lind JT66 OAK acknowledges",
    "acknowledges.+? 409 Not possible now: The job is on hold.+? has it transported: Corm Recovery",
    "10 files without place, remark or other metadata; 6 fetched by links in notices",
    "of 11 panels only the bonnet stands out",
    "held from the finding until Ines Okafor-Lind had it transported",
    r"approved once, by Dara Quill \(by the e-mail link\)",
    "each after the one below had flashed off",
    "belongings signed back before it left, named in no notice; 3 differences",
)


def started(folder: Path, *arguments: str) -> "subprocess.Popen[str]":
    environment = {
        name: value
        for name, value in os.environ.items()
        if not name.startswith(("SHUTLINE_", "DATABASE_URL", "CELERY_", "DJANGO_", "PYTEST_"))
    }
    return subprocess.Popen(
        [sys.executable, "manage.py", "demo", "--no-stay", *arguments],
        cwd=ROOT,
        env={**environment, "SHUTLINE_DATA_DIR": str(folder)},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def finished(process: "subprocess.Popen[str]") -> tuple[int, str, str]:
    """Return the exit code and what was printed, once it has ended."""
    with process:
        try:
            out, err = process.communicate(timeout=PATIENCE_SECONDS)
        finally:
            process.kill()
    return process.returncode, out, err


def processes_of(folder: Path) -> list[str]:
    """Return the commands of living processes whose environment names the folder."""
    found = []
    for entry in Path("/proc").glob("[0-9]*"):
        try:
            if str(folder).encode() in (entry / "environ").read_bytes():
                found.append((entry / "cmdline").read_bytes().replace(b"\0", b" ").decode())
        except (FileNotFoundError, ProcessLookupError, PermissionError):
            continue  # gone, or somebody else's
    return [command for command in found if command]


def test_the_day_ends_well_and_leaves_nothing_behind(tmp_path: Path) -> None:
    code, output, complaint = finished(started(tmp_path))
    assert code == 0, output + complaint
    assert complaint == ""
    assert "VERDICT: ALL WELL." in output
    assert re.search(r"answered 500\n.+answered 500\n.+signature good, same id\n", output)
    assert "sent again with the same Idempotency-Key: same answer, one job" in output
    assert "409 Somebody changed this job meanwhile" in output
    for line in SHOWN:
        assert re.search(line, " ".join(output.split())), line
    assert "WRONG" not in output
    assert re.search(r"\d+ polls of GET /ready: \d+ answered 200, \d+ answered 304", output)
    times = re.findall(r"^\d\d:\d\d", output, re.MULTILINE)
    assert times == sorted(times)
    assert max(len(line) for line in output.splitlines()) <= WIDTH
    assert processes_of(tmp_path) == []
    assert list((tmp_path / "demo").iterdir()) == []


def test_an_interrupted_day_leaves_nothing_behind(tmp_path: Path) -> None:
    process = started(tmp_path)
    assert process.stdout
    while line := process.stdout.readline():
        if "Tam Brackley" in line and "books in" in line:
            break
    process.send_signal(signal.SIGINT)
    code, _, complaint = finished(process)
    assert (code, complaint) == (130, "CommandError: Stopped before the end of the day.\n")
    assert processes_of(tmp_path) == []
    assert list((tmp_path / "demo").iterdir()) == []


def test_it_says_in_one_sentence_that_the_port_is_taken(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as rival:
        port = rival.getsockname()[1]
        code, output, complaint = finished(started(tmp_path, "--port", str(port)))
    assert code == 1
    assert complaint.startswith(f"CommandError: Port {port} on 127.0.0.1 is taken")
    assert output == ""


def good_day() -> Ledger:
    """Return a ledger in which everything arrived, one notice at the second try."""
    entries = [FeedEntry(f"id-{notice.version}", notice) for notice in WAY]
    receipts = [
        Receipt(entry.id, entry.notice, float(entry.notice.version), 204, verified=True)
        for entry in entries
    ]
    receipts.insert(1, replace(receipts[1], status=500))
    return Ledger(
        cars={"job-1": "TU21 ABC"},
        feeds={"Brackmoor Cars": entries},
        due_in_feed={"Brackmoor Cars": list(WAY)},
        due_as={"webhook": list(WAY)},
        receipts={"webhook": receipts},
        due_on_dashboard=[READY],
        on_dashboard={READY},
    )


def test_a_good_day_has_no_faults() -> None:
    assert good_day().faults() == []


def test_a_notice_that_never_arrived_is_named() -> None:
    day = good_day()
    day.receipts["webhook"] = [
        receipt for receipt in day.receipts["webhook"] if receipt.notice != READY
    ]
    assert day.faults() == ["The webhook receiver lacks job.ready of TU21 ABC (version 3)."]


def test_a_notice_that_was_only_ever_refused_counts_as_missing() -> None:
    day = good_day()
    *earlier, last = day.receipts["webhook"]
    day.receipts["webhook"] = [*earlier, replace(last, status=500)]
    assert day.faults() == ["The webhook receiver lacks job.ready of TU21 ABC (version 3)."]


def test_an_event_missing_from_the_feed_is_named() -> None:
    day = good_day()
    day.feeds["Brackmoor Cars"] = day.feeds["Brackmoor Cars"][:-1]
    assert day.faults() == ["The feed of Brackmoor Cars lacks job.ready of TU21 ABC (version 3)."]


def test_an_event_twice_in_the_feed_is_named() -> None:
    day = good_day()
    day.feeds["Brackmoor Cars"] = [*day.feeds["Brackmoor Cars"], day.feeds["Brackmoor Cars"][0]]
    assert day.faults() == [
        "The feed of Brackmoor Cars has work_order.received of TU21 ABC (version 1) twice.",
        "The feed of Brackmoor Cars gives the id id-1 more than once.",
    ]


def test_a_retry_under_another_id_is_named() -> None:
    day = good_day()
    receipts = list(day.receipts["webhook"])
    receipts[1] = replace(receipts[1], id="another")
    day.receipts["webhook"] = receipts
    assert day.faults() == [
        "The webhook receiver and the feeds have 2 ids for job.arrived of TU21 ABC (version 2)."
    ]


def test_a_bad_signature_is_named() -> None:
    day = good_day()
    *earlier, last = day.receipts["webhook"]
    day.receipts["webhook"] = [*earlier, replace(last, verified=False)]
    assert day.faults() == [
        "The webhook receiver could not verify job.ready of TU21 ABC (version 3)."
    ]


def test_notices_about_one_car_out_of_order_are_named() -> None:
    day = good_day()
    first, second, third, last = day.receipts["webhook"]
    day.receipts["webhook"] = [first, second, last, third]
    assert day.faults() == [
        "The webhook receiver got job.arrived of TU21 ABC (version 2) after a later one."
    ]


def test_a_ready_car_that_no_poll_showed_is_named() -> None:
    day = good_day()
    day.on_dashboard = set()
    assert day.faults() == ["The dashboard never saw job.ready of TU21 ABC (version 3)."]


@pytest.mark.parametrize("hour", range(24))
def test_the_day_always_ends_between_five_and_six_on_the_workshops_clock(hour: int) -> None:
    now = datetime(2027, 3, 1, hour, 59, tzinfo=UTC)
    zone = zone_where_the_day_ends(now)
    assert now.astimezone(zone).hour == 17
    assert now.astimezone(ZoneInfo(zone_name(zone))).utcoffset() == zone.utcoffset(None)
    assert abs(zone.utcoffset(None)) <= timedelta(hours=12)
