"""The end of the day: the feeds are read, everything is compared, and the tables are printed."""

import textwrap
import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from threading import Event
from typing import Any

from jobs.demo import timeline
from jobs.demo.cast import CARS, WORKSHOP, Car
from jobs.demo.client import Client
from jobs.demo.day import Day
from jobs.demo.ledger import FeedEntry, Receipt
from jobs.demo.proof import read_back
from jobs.demo.receivers import notice_in
from jobs.demo.timeline import counted

PAGE = 25
FEED_SECONDS = 20.0
POLL_SECONDS = 0.1
STAGES = ("intake", "cleaning", "correction", "curing")


@dataclass(frozen=True, slots=True)
class Feed:
    """What GET /events gave one organisation, and in how many pages."""

    entries: Sequence[FeedEntry]
    pages: int


def read_feed(client: Client, expected: int) -> Feed:
    """Follow the feed's cursor from the beginning until all that is expected came or time is up."""
    entries: list[FeedEntry] = []
    cursor, pages = 0, 0
    deadline = time.monotonic() + FEED_SECONDS
    pause = Event()
    while True:
        page = client.get(f"/events?after={cursor}&limit={PAGE}").json
        cursor, pages = page["cursor"], pages + 1
        entries += [FeedEntry(event["id"], notice_in(event)) for event in page["events"]]
        if page["more"]:
            continue
        if len(entries) >= expected or time.monotonic() > deadline:
            return Feed(entries, pages)
        pause.wait(POLL_SECONDS)


def close(day: Day, readers: dict[str, Client], outsider: Client, *, started: float) -> list[str]:
    """Compare everything, print the tables and the verdict; return what is missing or wrong.

    `outsider` is a system of another dealer; `started` when the demo was, by time.monotonic().
    """
    desk = readers[WORKSHOP.name]
    timeline.heading("The cars")
    print_cars(day, desk)
    timeline.heading("What was found, read back")
    found, wrong = read_back(day, desk, outsider)
    for name, text in found:
        entry(name, text)
    ledger = day.ledger
    feeds = {
        organisation: read_feed(client, len(ledger.due_in_feed[organisation]))
        for organisation, client in readers.items()
    }
    ledger.feeds = {organisation: feed.entries for organisation, feed in feeds.items()}
    ledger.receipts = {channel: box.all() for channel, box in day.postboxes.items()}
    ledger.on_dashboard = set(day.dashboard.seen())
    faults = [*ledger.faults(), *wrong]
    if day.dashboard.trouble:
        faults.append(day.dashboard.trouble)
    timeline.heading("What was told")
    print_told(day, feeds)
    print_verdict(day, faults, seconds=time.monotonic() - started)
    return faults


def print_cars(day: Day, desk: Client) -> None:
    """Print a line for each car: when it came, how long each stage took, where it is now."""
    timeline.line(
        f"{'':<20}{'came':>5}{'intake':>7}{'cleaning':>9}{'correction':>11}{'curing':>7}{'held':>6}"
        f"{'ready':>7}{'min/plan':>10}  now"
    )
    for car in CARS:
        job = desk.get(f"/jobs/{day.jobs[car.registration]['id']}").json
        history = desk.get(f"/jobs/{job['id']}/history").json["entries"]
        print_car(day, car, job, history)


def print_car(day: Day, car: Car, job: dict[str, Any], history: Sequence[dict[str, Any]]) -> None:
    """Print one car's line."""
    zone = day.midnight.tzinfo
    assert isinstance(zone, timezone)  # noqa: S101  the day is told in a fixed zone
    spent = time_in_stages(job, history, until=day.clock("17:00"))
    cells = [span(spent.get(stage)) for stage in STAGES]
    timeline.line(
        f"{car.registration:<9}{car.model:<11}{hour(job['arrived_at'], zone):>5}"
        f"{cells[0]:>7}{cells[1]:>9}{cells[2]:>11}{cells[3]:>7}{span(held(job)):>6}"
        f"{hour(job['ready_at'], zone):>7}{worked(job):>10}  {state(job, zone)}"
    )


def worked(job: dict[str, Any]) -> str:
    """Return the minutes worked against those planned for the same tasks, or nothing."""
    finished = [task for task in job["tasks"] if task["state"] == "finished"]
    minutes = sum(task["actual_minutes"] for task in finished)
    return f"{minutes}/{sum(task['planned_minutes'] for task in finished)}" if finished else ""


def state(job: dict[str, Any], zone: timezone) -> str:
    """Return in a few words where the job stands."""
    if not job["arrived_at"]:
        due = datetime.fromisoformat(job["due_at"]).astimezone(zone)
        return f"due {due:%a}"
    rework = f", rework {job['rework_count']}" if job["rework_count"] else ""
    return f"{'collected' if job['collected_at'] else job['stage']}{rework}"


def time_in_stages(
    job: dict[str, Any], history: Sequence[dict[str, Any]], *, until: datetime
) -> dict[str, timedelta]:
    """Return how long the car was in each stage from its arrival, by the tablets' clocks."""
    spent: dict[str, timedelta] = {}
    if not job["arrived_at"]:
        return spent
    since, stage = datetime.fromisoformat(job["arrived_at"]), "intake"
    for entry in history:
        if entry["kind"] == "moved":
            moved = datetime.fromisoformat(entry["occurred_at"])
            spent[stage] = spent.get(stage, timedelta()) + moved - since
            since, stage = moved, entry["to_stage"]
    spent[stage] = spent.get(stage, timedelta()) + until - since
    return spent


def held(job: dict[str, Any]) -> timedelta | None:
    """Return how long the job was on hold, or None where it never was."""
    spans = [
        datetime.fromisoformat(hold["ended_at"]) - datetime.fromisoformat(hold["started_at"])
        for hold in job["holds"]
        if hold["ended_at"]
    ]
    return sum(spans, timedelta()) if spans else None


def span(length: timedelta | None) -> str:
    """Return hours and minutes, or nothing."""
    if length is None:
        return ""
    minutes = round(length / timedelta(minutes=1))
    return f"{minutes // 60}:{minutes % 60:02}"


def hour(instant: str | None, zone: timezone) -> str:
    """Return the time of day of an RFC 3339 instant on the workshop's clock, or nothing."""
    return f"{datetime.fromisoformat(instant).astimezone(zone):%H:%M}" if instant else ""


def print_told(day: Day, feeds: dict[str, Feed]) -> None:
    """Print the numbers: notices by channel, polls, feeds."""
    for channel, receipts in day.ledger.receipts.items():
        entry(channel, receipt_numbers(receipts, len(day.ledger.due_as[channel])))
    board = day.dashboard
    entry(
        "dashboard",
        f"{board.fresh + board.unchanged} polls of GET /ready: {board.fresh} answered 200, "
        f"{board.unchanged} answered 304; {counted(len(board.seen()), 'car')} seen to become ready",
    )
    for organisation, feed in feeds.items():
        entry(
            "feed",
            f"{organisation}: {len(feed.entries)} of {len(day.ledger.due_in_feed[organisation])} "
            f"events, in {counted(feed.pages, 'page')} by cursor",
        )


def entry(name: str, text: str) -> None:
    """Print one line of the closing table."""
    indent = " " * 11
    timeline.line(textwrap.fill(f"{name:<11}{text}", timeline.WIDTH, subsequent_indent=indent))


def receipt_numbers(receipts: Sequence[Receipt], due: int) -> str:
    """Return the numbers of one channel in a sentence."""
    taken = [receipt for receipt in receipts if receipt.taken]
    verified = sum(receipt.verified for receipt in taken)
    tries = Counter(receipt.id for receipt in receipts)
    retried = sum(times > 1 for times in tries.values())
    return (
        f"{len(taken)} of {counted(due, 'notice')} taken, {verified} verified; "
        f"{counted(len(receipts) - len(taken), 'try').replace('trys', 'tries')} failed, "
        f"{counted(retried, 'notice')} retried"
    )


def print_verdict(day: Day, faults: Sequence[str], *, seconds: float) -> None:
    """Print what is missing or wrong, and the verdict."""
    timeline.line()
    for fault in faults:
        timeline.paragraph(f"MISSING OR WRONG: {fault}")
    events = len(day.ledger.due_in_feed[WORKSHOP.name])
    if faults:
        verdict = f"FAILED: {counted(len(faults), 'fault')} among {counted(events, 'event')}"
    else:
        verdict = (
            f"ALL WELL. {counted(events, 'event')}, each once in its feeds; every notice arrived, "
            "verified, under its event's id and in order for each car; what was found reads back "
            "as it was taken down"
        )
    timeline.paragraph(f"VERDICT: {verdict}. {seconds:.1f} s, the start of the service included.")
