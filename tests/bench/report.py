"""The table of a run: printed, and kept in this folder's README."""

import os
import platform
import re
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

README = Path(__file__).with_name("README.md")
SLOW = 20  # a second; below it a tenth counts
MARKS = ("<!-- table -->", "<!-- end of table -->")


def said(met: bool) -> str:  # noqa: FBT001  one word for one fact
    """Return the word for the table."""
    return "yes" if met else "NO"


def rate(a_second: float) -> str:
    """Return a rate with as many places as tell something."""
    return f"{a_second:,.0f}" if a_second >= SLOW else f"{a_second:.1f}"


@dataclass(frozen=True, slots=True)
class Ratio:
    """Ours against a baseline of the same run: pairs of rates, and the ratio that is asked for."""

    name: str
    baseline: str
    pairs: Sequence[tuple[float, float]]  # (ours, baseline), a second
    wanted: float | None  # None: shown for comparison only

    @property
    def met(self) -> bool:
        """Return whether the ratio is what is asked for."""
        return self.wanted is None or self.value >= self.wanted

    @property
    def value(self) -> float:
        """Return the median of the rounds' ratios."""
        return statistics.median(ours / base for ours, base in self.pairs)

    def row(self) -> str:
        """Return the table's line."""
        ours = statistics.median(pair[0] for pair in self.pairs)
        base = statistics.median(pair[1] for pair in self.pairs)
        asked = "| | |" if self.wanted is None else f"| ≥ {self.wanted} | {said(self.met)} |"
        rates = f"{rate(ours)} | {self.baseline} | {rate(base)}"
        return f"| {self.name} | {rates} | {self.value:.2f} {asked}"


@dataclass(frozen=True, slots=True)
class Wait:
    """A waiting time: measured values in milliseconds, and the longest its P99 may be."""

    name: str
    milliseconds: Sequence[float]
    wanted: float

    @property
    def met(self) -> bool:
        """Return whether the P99 is short enough."""
        return self.p99 < self.wanted

    @property
    def p99(self) -> float:
        """Return the 99th percentile."""
        return statistics.quantiles(self.milliseconds, n=100, method="inclusive")[98]

    def row(self) -> str:
        """Return the table's line."""
        median = statistics.median(self.milliseconds)
        asked = f"< {self.wanted:.0f} | {said(self.met)}"
        return f"| {self.name} | {median:.0f} | {self.p99:.0f} | {asked} |"


def table(ratios: Sequence[Ratio], waits: Sequence[Wait]) -> str:
    """Return both tables as Markdown."""
    return "\n".join(
        [
            f"{os.cpu_count()} cores, {platform.machine()}, Python {platform.python_version()}.",
            "",
            "| what | a second | baseline | a second | ratio | wanted | met |",
            "| --- | --: | --- | --: | --: | --: | --- |",
            *(ratio.row() for ratio in ratios),
            "",
            "| waiting time | median ms | P99 ms | wanted | met |",
            "| --- | --: | --: | --: | --- |",
            *(wait.row() for wait in waits),
        ]
    )


def keep(text: str) -> None:
    """Put the tables into README, between its marks."""
    start, end = map(re.escape, MARKS)
    old = README.read_text(encoding="utf-8")
    new = re.sub(
        f"{start}.*?{end}", lambda _: f"{MARKS[0]}\n{text}\n{MARKS[1]}", old, flags=re.DOTALL
    )
    README.write_text(new, encoding="utf-8")
