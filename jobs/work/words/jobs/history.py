"""The history of a job in sentences, as pages tell it to a dealer, a valeter and a desk alike.

No sentence names what belongings are, or an amount of money: whoever may see the job may read it.
"""

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any

from django.utils.dateparse import parse_datetime
from django.utils.timezone import localtime

from jobs.work.calc.car.areas import AREAS, PANELS
from jobs.work.calc.catalogue.workshop import STANDARD
from jobs.work.calc.findings import Over
from jobs.work.calc.stages.left_open import LeftOpen
from jobs.work.calc.stages.machine import Kind, Stage
from jobs.work.models import HistoryEntry, Hold

Data = Mapping[str, Any]
_SAYS: dict[Kind, str] = {
    Kind.RECEIVED: "The work order came in.",
    Kind.DECLINED: "The workshop declined the order.",
    Kind.CANCELLED: "The dealer cancelled the order.",
    Kind.ARRIVED: "The car arrived.",
    Kind.BELONGING_BACK: "Belongings were given back.",
    Kind.DATA_WIPED: "Personal data in the car was dealt with.",
    Kind.CHANGE_SEEN: "The workshop has seen the dealer's change.",
    Kind.REQUEST_ASKED: "The dealer asked about the extra work.",
    Kind.REQUEST_REPLIED: "The workshop replied to the dealer's question.",
    Kind.CURED: "All that cured or dried on the car is done.",
}


def sentence(entry: HistoryEntry) -> str:
    """Return what happened in one sentence, with the reason where one was given."""
    kind = Kind(entry.kind)
    if kind in _SAYS:
        said = _SAYS[kind]
    elif kind is Kind.MOVED:
        said = _moved(entry)
    elif kind is Kind.CORRECTED:
        said = _corrected(entry)
    else:
        said = _TELLS[kind](entry.data)
    reason = entry.reason.strip()
    return f"{said} {reason}{'' if reason.endswith(('.', '!', '?')) else '.'}" if reason else said


def undo_words(step: HistoryEntry) -> str:
    """Return what a button that undoes a step says."""
    if step.kind == Kind.ARRIVED:
        return "Undo the arrival"
    if step.kind == Kind.COLLECTED:
        return "Undo the collection"
    return f"Undo the move to {step.to_stage}"


def _moved(entry: HistoryEntry) -> str:
    if entry.data.get("rework"):
        return f"Back from {entry.from_stage} to {entry.to_stage}, as rework."
    known = _confirmed(entry.data)
    if entry.data.get("override"):
        return (
            f"Moved to {entry.to_stage} while something still cured or dried, by a manager.{known}"
        )
    return f"Moved from {entry.from_stage} to {entry.to_stage}.{known}"


def _confirmed(data: Data) -> str:
    """Return what somebody confirmed to be open, as sentences after the first."""
    codes = set(data.get("confirmed", ()))
    if not codes:
        return ""
    left = LeftOpen(
        tasks_open=data.get("tasks_open", 0),
        tasks=data.get("tasks", 0),
        not_walked_round="leaving_not_recorded" in codes,
        not_cleared="do_not_drive" in codes,
    )
    said = " ".join(line["text"] for line in left.lines())
    return f" Confirmed, knowing: {said}"


def _corrected(entry: HistoryEntry) -> str:
    undoes = entry.data.get("undoes")
    if undoes == Kind.ARRIVED:
        return "Corrected by a manager: the car has not arrived."
    if undoes == Kind.COLLECTED:
        return "Corrected by a manager: the car was not collected."
    return f"Corrected by a manager: it was not moved to {entry.from_stage}, {_still(entry)}."


def _still(entry: HistoryEntry) -> str:
    return "it is ready" if entry.to_stage == Stage.READY else f"it is in {entry.to_stage}"


def _operation(data: Data) -> str:
    """Return the operation as it was called then; entries from before that told it have a code."""
    name = str(data.get("name") or STANDARD.name_of(str(data.get("operation", ""))))
    return name[:1].lower() + name[1:]


def _accepted(data: Data) -> str:
    by_itself = " by itself, as agreed" if data.get("by_itself") else ""
    return f"The order was accepted{by_itself}."


def _changed(data: Data) -> str:
    names = [str(change["field"]).replace("_", " ") for change in data.get("changes", ())]
    return f"The order changed: {', '.join(names)}." if names else "The order changed."


def _held(data: Data) -> str:
    return f"On hold: waits for {_cause(data)}."


def _released(data: Data) -> str:
    return f"Goes on: no longer waits for {_cause(data)}."


def _cause(data: Data) -> str:
    cause = str(data.get("cause", ""))
    return Hold.Cause(cause).label if cause in Hold.Cause.values else cause


def _collected(data: Data) -> str:
    open_still = " Something was left open." if data.get("left_open") else ""
    return f"The car was collected.{open_still}{_confirmed(data)}"


def _finding(data: Data) -> str:
    if data.get("kind") == "belongings":
        return "Belongings were found in the car."
    area = AREAS[data["area"]].name if data.get("area") in AREAS else ""
    weight = {"do_not_drive": "Do not drive: ", "before_sale": "Before sale: "}
    noticed = str(data.get("noticed", "")).rstrip(".")
    return f"{weight.get(str(data.get('weight')), '')}{noticed} ({area})."


def _finding_seen(data: Data) -> str:
    whom = f", told to {data['told']}" if data.get("told") else ""
    return f"A finding was acknowledged by {data.get('by', 'the dealer')}{whom}."


def _over(data: Data) -> str:
    at = parse_datetime(str(data.get("at", "")))
    area = AREAS[data["area"]].name if data.get("area") in AREAS else ""
    return over_words(str(data.get("how", Over.WITHDRAWN)), str(data.get("by", "")), at, area=area)


def over_words(how: str, by: str, at: datetime | None, *, area: str = "") -> str:
    """Return how a "do not drive" ended: by whom, and when; nothing where it stands."""
    moment = localtime(at) if at else None
    when = f", {moment:%a} {moment.day} {moment:%b} at {moment:%H:%M}" if moment else ""
    where = f" ({area})" if area else ""
    if how == Over.REPAIRED:
        return f"Repaired{where} by {by}{when}; “do not drive” is over."
    if how == Over.TRANSPORTED:
        return f"To be transported{where} by {by}{when}. It must still not be driven."
    return f"Withdrawn{where} by {by}{when}: it was no “do not drive”." if how else ""


def _walked_round(data: Data) -> str:
    when = "on leaving" if data.get("occasion") == "leaving" else "on arrival"
    count = len(data.get("differences") or ())
    differs = f" {count} {'thing differs' if count == 1 else 'things differ'} from its arrival."
    return f"Walked round {when}.{differs if count else ''}"


def _paint_read(data: Data) -> str:
    if data.get("set_aside"):
        return f"A note on the paint of the {_panel(data)} was set aside."
    if "film" in data:
        return _film_checked(data)
    if "pad_colour" in data:
        tool = "dark cloth" if data.get("rubbed_with") == "dark_cloth" else "white pad"
        return f"The paint of the {_panel(data)} was tested with a {tool}."
    panels = list(dict.fromkeys(_panel(spot) for spot in data.get("spots", ())))
    return f"Paint measured: {', '.join(panels)}."


def _film_checked(data: Data) -> str:
    where = f"the {_panel(data)}" if data.get("panel") in PANELS else "the car"
    answer = str(data["film"])
    if answer == "not_asked":
        return f"The answer about a film or wrap on {where} was taken back."
    found = "A film or wrap lies" if answer == "yes" else "No film or wrap lies"
    return f"{found} on {where}."


def _passes_done(data: Data) -> str:
    if data.get("set_aside"):
        return f"Machine passes noted on the {_panel(data)} were set aside."
    kind = {"cut": "cutting", "finish": "finishing"}.get(str(data.get("kind")), "machine")
    count = data.get("passes", 1)
    return f"{count} {kind} {'pass' if count == 1 else 'passes'} on the {_panel(data)}."


def _panel(data: Data) -> str:
    code = str(data.get("panel", ""))
    return AREAS[code].name if code in AREAS else code


def _request_closed(data: Data) -> str:
    outcome = str(data.get("outcome", "closed"))
    said = {"lapsed": "lapsed: no answer came in time", "withdrawn": "withdrawn by the workshop"}
    return f"The extra work was {said.get(outcome, outcome)}."


def _coat(data: Data) -> str:
    early = " before the last had flashed off" if data.get("early") else ""
    return f"Coat {data.get('number')} ({data.get('kind')}) went on{early}."


def _supplied(data: Data) -> str:
    state = {"received": "is here", "fitted": "was fitted or used", "not_used": "was not used"}
    return f"{data.get('item')}, supplied by the dealer, {state.get(str(data.get('state')), '')}."


def _touch_tested(data: Data) -> str:
    found = "dry" if data.get("dry") else "still damp"
    return f"Felt by hand, {_operation(data)}: {found}."


def _wait_moved(data: Data) -> str:
    later = "later" if data.get("later") else "sooner"
    until = parse_datetime(str(data.get("until", "")))
    moment = localtime(until) if until else None
    by = f": by {moment:%H:%M on %a} {moment.day} {moment:%b}" if moment else ""
    return f"What cures or dries on the car is done {later} than was told{by}."


def _soiling(data: Data) -> str:
    return f"How dirty it came in: {data.get('level')} of 5."


def _minutes_told(data: Data) -> str:
    return f"Asked how long it took: {_operation(data)}, {data.get('minutes')} minutes."


_TELLS: dict[Kind, Callable[[Data], str]] = {
    Kind.ACCEPTED: _accepted,
    Kind.CHANGED: _changed,
    Kind.HELD: _held,
    Kind.RELEASED: _released,
    Kind.COLLECTED: _collected,
    Kind.TASK_ADDED: lambda data: f"Added: {_operation(data)}.",
    Kind.TASK_STARTED: lambda data: f"Started: {_operation(data)}.",
    Kind.TASK_PAUSED: lambda data: f"Left for now: {_operation(data)}.",
    Kind.TASK_FINISHED: lambda data: f"Finished: {_operation(data)}.",
    Kind.FINDING: _finding,
    Kind.FINDING_SEEN: _finding_seen,
    Kind.FINDING_CLEARED: _over,
    Kind.WITHDRAWN: _over,
    Kind.WALKED_ROUND: _walked_round,
    Kind.PAINT_READ: _paint_read,
    Kind.PASSES_DONE: _passes_done,
    Kind.REQUEST_OPENED: lambda data: f"Extra work proposed: {data.get('what')}.",
    Kind.REQUEST_CLOSED: _request_closed,
    Kind.COAT_APPLIED: _coat,
    Kind.SUPPLIED_TICKED: _supplied,
    Kind.PRODUCT_USED: lambda data: f"Went onto the car: {data.get('product')}.",
    Kind.TOUCH_TESTED: _touch_tested,
    Kind.WAIT_MOVED: _wait_moved,
    Kind.SOILING_NOTED: _soiling,
    Kind.MINUTES_TOLD: _minutes_told,
}
