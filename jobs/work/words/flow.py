"""What the flow's figures mean, in words: once for the API and the page."""

from core.templatetags.look import minutes
from jobs.work.calc.flow.control_chart import Rule, Side, Signal, TimesChart
from jobs.work.calc.flow.course import Cause
from jobs.work.calc.flow.figures import Load
from jobs.work.calc.stages.machine import Stage
from jobs.work.calc.statistics.queueing import FULL_LOAD

CAUSE_WORDS = {
    Cause.WORKING: "worked on",
    Cause.NOBODY: "nobody on it",
    Cause.DECISION: "the dealer's decision",
    Cause.PARTS: "parts",
    Cause.WEATHER: "weather",
    Cause.DRYING: "drying",
    Cause.CURE: "curing",
}
# Whom a car waits for that has nobody on it.
PEOPLE_WORDS = {
    Stage.CLEANING: "somebody to clean it",
    Stage.CORRECTION: "somebody to correct its paint",
    Stage.CURING: "somebody to put it to cure",
    Stage.READY: "somebody to look it over and call it ready",
}
RULE_WORDS = {
    Rule.BEYOND: "beyond the limits",
    Rule.SHIFT: "a lasting shift",
}
SIDE_WORDS = {Side.ABOVE: "slower", Side.BELOW: "quicker"}
LIMIT_DEFINITION = (
    "The stage whose people the cars spent most time with: worked on by them, or standing with "
    "nobody on it until they began. What a car waits for after the last work in one stage counts "
    "for the next."
)
LOAD_ASSUMES = (
    "The M/M/c sum: cars come at random, work is of random length, everybody can do everything, "
    "one person a car, one line of cars. Minutes are of opening time, people are the longest "
    "day's minutes over eight hours. It says how waiting grows with the load, not what the next "
    f"car will meet. From {FULL_LOAD:.0%} on the work counts as more than the hours: a line would "
    "take years to settle there, and the hours are not known so exactly."
)
OVERLOADED = "More work than hours: waiting grows without end."
LITTLE_WORDS = (
    "Little's law: cars inside = cars finished a day x days each took. It holds exactly where "
    "nothing is cut off; here the two differ by the time that cars finished in the period had "
    "spent before it, and by the time in it of cars not finished by its end. Cars that left "
    "before they were ready are in neither."
)
STEADY_WORDS = (
    "Of ten charts of a workshop where nothing changes, at most one shows a sign, as long as "
    "people are busy for up to four fifths of their hours. With 400 cars before those shown, a "
    "lasting change by one and a half times the usual spread shows within twenty cars in about "
    "nine of ten charts where people are busy for three fifths of their hours, and in four or "
    "five where they are for four fifths. With fewer cars before, it takes a larger change or "
    "more cars."
)
UNTOLD_WORDS = (
    "Here the cars are too few, or wait on each other for too long, to tell a lasting change from "
    "chance."
)
CHART_METHOD = (
    "The chart is of the logarithms of the times, which spread more upwards than downwards. A car "
    "is beyond the limits where it is farther from the centre than the farthest of so many usual "
    "cars (Grubbs, 1969). A lasting shift is a step in the mean that is larger than chance makes, "
    "with as much room as neighbouring cars hang together, since those of one day wait for the "
    "same people and the same night (change-point model: Hawkins, Qiu and Kang, 2003; how far "
    "cars hang together: Geyer, 1992). The longer cars queue behind each other, the less each of "
    "them says by itself, and the larger a step must be. What is usual is taken from the cars "
    "shown and from up to 400 before them; the limits from the cars shown alone. Below eight cars "
    "there are none, below twenty they are provisional, and a shift takes fifteen cars before it "
    "and five since. Of several changes one soon after another, not all are told."
)


def steady_words(chart: TimesChart | None) -> str:
    """Return how often a steady workshop's chart shows a sign, and what this one could show."""
    if chart is None:
        return STEADY_WORDS
    if chart.shift_factor is None:
        return f"{STEADY_WORDS} {UNTOLD_WORDS}"
    return (
        f"{STEADY_WORDS} Here it would show by then, as likely as not, once times are about "
        f"{chart.shift_factor:.1f} times as long as they were, or as many times shorter."
    )


def signal_words(signal: Signal) -> str:
    """Return one signal as a sentence's end."""
    if signal.rule is Rule.SHIFT:
        return f"{signal.length} cars {SIDE_WORDS[signal.side]} than those before, taken together"
    return f"{SIDE_WORDS[signal.side]} than the limit"


def load_words(load: Load) -> str:
    """Return what a load means for waiting, in one or two sentences."""
    if load.now is None:
        return OVERLOADED
    wait = f"A car waits about {minutes(round(load.now.wait))} of opening time for somebody."
    if load.busier is None:
        return f"{wait} With a tenth more cars: {OVERLOADED[0].lower()}{OVERLOADED[1:]}"
    return f"{wait} With a tenth more cars: about {minutes(round(load.busier.wait))}."
