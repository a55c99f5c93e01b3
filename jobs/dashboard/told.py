"""A car's story as its page tells it: pictures, findings, requests, walk-rounds and paint."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from core.templatetags.look import said
from jobs.dashboard.selectors import Story
from jobs.work.calc.car.areas import AREAS, PANELS
from jobs.work.calc.car.views import VIEWS
from jobs.work.calc.curing.outside_words import outside_words
from jobs.work.calc.findings import WEIGHT_WORDS, FindingKind, Weight, caution_for
from jobs.work.calc.paint.survey import sentence_of
from jobs.work.calc.stages.machine import Kind
from jobs.work.calc.walk_rounds import ITEMS, WARNING_LIGHTS, Presence, differences
from jobs.work.models import Finding, Photo, WalkRound, WorkRequest
from jobs.work.problems import closing_words
from jobs.work.selectors.paint import survey_of_readings
from jobs.work.selectors.walk_rounds import as_record
from jobs.work.words.curing import in_order
from jobs.work.words.jobs.history import over_words, sentence


@dataclass(frozen=True, slots=True)
class Picture:
    """A photograph on the page: its words and its addresses by size."""

    words: str
    paths: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Pair:
    """One view of the car before and after the work."""

    view: str
    before: Picture
    after: Picture


@dataclass(frozen=True, slots=True)
class ToldFinding:
    """A finding with its pictures."""

    finding: Finding
    pictures: list[Picture]

    @property
    def area(self) -> str:
        """Return where on the car."""
        return AREAS[self.finding.area].name

    @property
    def danger(self) -> bool:
        """Return whether it keeps the car off the road."""
        return self.finding.must_not_be_driven

    @property
    def over(self) -> str:
        """Return how a "do not drive" ended; nothing where it stands."""
        finding = self.finding
        ending = over_words(finding.over_how, finding.over_by, finding.over_at)
        return f"{ending} {finding.over_reason}".strip()

    @property
    def weight(self) -> str:
        """Return in words how much it matters."""
        return WEIGHT_WORDS[Weight(self.finding.weight)]

    @property
    def caution(self) -> str:
        """Return the caution it carries, or nothing."""
        return caution_for(FindingKind(self.finding.kind), Weight(self.finding.weight))

    @property
    def belonging(self) -> Any:
        """Return what was found, for belongings."""
        return getattr(self.finding, "belonging", None)


@dataclass(frozen=True, slots=True)
class Word:
    """A question of the dealer's or a reply of the workshop's."""

    asked: bool
    text: str
    actor: str
    at: datetime


@dataclass(frozen=True, slots=True)
class ToldRequest:
    """A request with its pictures and what was said about it."""

    request: WorkRequest
    pictures: list[Picture]
    words: list[Word]

    @property
    def open(self) -> bool:
        """Return whether it waits for an answer."""
        return self.request.state == WorkRequest.State.OPEN

    @property
    def closing(self) -> str:
        """Return who closed it, and what was said."""
        return closing_words(self.request)

    @property
    def waits_for_reply(self) -> bool:
        """Return whether the dealer asked last."""
        return bool(self.words) and self.words[-1].asked


@dataclass(frozen=True, slots=True)
class Panel:
    """What the paint survey says of one panel."""

    name: str
    microns: float | None
    words: str


def findings_told(story: Story) -> list[ToldFinding]:
    """Return the findings: not to be driven first, then what is not acknowledged yet."""
    findings = [
        ToldFinding(finding, _pictures(story, finding.pk)) for finding in story.facts.findings
    ]
    return sorted(
        findings, key=lambda shown: (not shown.danger, bool(shown.finding.acknowledged_at))
    )


def requests_told(story: Story) -> list[ToldRequest]:
    """Return the requests, those that wait for an answer first."""
    requests = [
        ToldRequest(request, _pictures(story, request.pk), list(_words(story, request.pk)))
        for request in story.facts.requests
    ]
    return sorted(requests, key=lambda request: not request.open)


def _words(story: Story, request_id: UUID) -> Iterator[Word]:
    """Yield what was said about a request; the history has every word of it."""
    for entry in story.facts.said_of(str(request_id)):
        asked = entry.kind == Kind.REQUEST_ASKED
        text = entry.data["question" if asked else "reply"]
        yield Word(asked, text, entry.actor, entry.occurred_at)


def pairs_told(story: Story) -> list[Pair]:
    """Return the newest before and after of each view, in the order of the views."""
    by_id = {photo.pk: _picture(photo, paths) for photo, paths in story.photos}
    newest = {photo.view: photo for photo, _ in story.photos if photo.moment == Photo.Moment.PAIR}
    in_order = [(name, newest[view]) for view, name in VIEWS.items() if view in newest]
    return [
        Pair(name, by_id[pair.before_id], by_id[pair.after_id])
        for name, pair in in_order
        if pair.before_id in by_id and pair.after_id in by_id
    ]


def pictures_left(story: Story) -> list[Picture]:
    """Return the photographs that stand in no pair and belong to nothing else."""
    placed = {photo_id for photos in story.pictured.values() for photo_id in photos}
    for pair, _ in story.photos:
        if pair.moment == Photo.Moment.PAIR:
            placed |= {
                photo_id for photo_id in (pair.pk, pair.before_id, pair.after_id) if photo_id
            }
    return [_picture(photo, paths) for photo, paths in story.photos if photo.pk not in placed]


def _pictures(story: Story, owner: UUID) -> list[Picture]:
    wanted = story.pictured.get(owner, set())
    return [_picture(photo, paths) for photo, paths in story.photos if photo.pk in wanted]


def _picture(photo: Photo, paths: Mapping[str, str]) -> Picture:
    where = VIEWS.get(photo.view, "")
    if not where and photo.area in AREAS:
        where = AREAS[photo.area].name
    when = "" if photo.moment == Photo.Moment.DETAIL else photo.get_moment_display()
    words = photo.caption or ", ".join(part for part in (where, when) if part) or "Picture"
    return Picture(words[0].upper() + words[1:], paths)


def waits_told(story: Story, at: datetime) -> dict[str, Any]:
    """Return what runs on a car, why it takes another time than was told, and who let it pass."""
    clocks = story.facts.running if story.job.collected_at is None else ()
    waits = in_order(list(clocks), at)
    since = min((wait.clock.started_at for wait in waits), default=at)
    lately = [entry for entry in story.facts.entries if entry.occurred_at >= since]
    undone = {entry.data["number"] for entry in lately if entry.kind == Kind.CORRECTED}
    moves = [entry for entry in lately if entry.kind == Kind.MOVED and entry.number not in undone]
    passed = [move for move in moves if move.data.get("override")]
    moved = [entry for entry in lately if entry.kind == Kind.WAIT_MOVED]
    outside = story.facts.outside
    return {
        "waits": waits,
        "outside_words": outside_words(outside, said) if outside else "",
        "let_pass": passed[-1] if waits and passed else None,
        "moved": {"entry": moved[-1], "sentence": sentence(moved[-1])} if moved else None,
    }


def rounds_told(rows: Iterable[WalkRound]) -> dict[str, Any]:
    """Return what stands for arrival and leaving, and what differs between them."""
    last = {row.occasion: row for row in rows}
    arrival = last.get(WalkRound.Occasion.ARRIVAL)
    leaving = last.get(WalkRound.Occasion.LEAVING)
    both = differences(as_record(arrival), as_record(leaving)) if arrival and leaving else []
    return {
        "rounds": [_round(row) for row in (arrival, leaving) if row],
        "both_rounds": bool(arrival and leaving),
        "differences": [difference.text for difference in both],
    }


def _round(row: WalkRound) -> dict[str, Any]:
    """Return a walk-round in words."""
    absent = [
        ITEMS[code] for code, was in row.items.items() if was == Presence.ABSENT and code in ITEMS
    ]
    return {
        "row": row,
        "lights": [WARNING_LIGHTS.get(code, code) for code in row.warning_lights],
        "absent": absent,
        "damage": [(AREAS[damage["area"]].name, damage["noticed"]) for damage in row.damage],
    }


def paint_told(story: Story) -> dict[str, Any]:
    """Return what the paint survey says; nothing where nothing was measured."""
    if not story.readings:
        return {}
    survey = survey_of_readings(story.readings)
    panels = [
        Panel(PANELS[panel.panel].name, panel.microns, panel.film_class.words)
        for panel in survey.panels
    ]
    return {"sentence": sentence_of(survey), "panels": panels, "cautions": survey.cautions}
