"""Minutes that nobody would expect: a clock that was forgotten, or started only at the end.

Such minutes are asked about and wait for an answer; they are never dropped in silence.
"""

from jobs.work.calc.statistics.log_normal import LogNormal

# On the scale of logarithms, deviations from what this very work takes here; an honest task lies
# further off once in 370 times. Our own choice.
DOUBTFUL_Z = 3.0
# Nobody is asked about less than this, however unlikely: it changes no day. Our own choice.
LEAST_MINUTES = 15
# No task of the trade takes less than a minute: the clock was started only when all was done.
LEAST_SECONDS = 60


def hardly_measured(seconds: float) -> bool:
    """Return whether a finished task took under a minute by its clock, which measures nothing."""
    return seconds < LEAST_SECONDS


def doubtful(minutes: int, expected: LogNormal) -> bool:
    """Return whether to ask about the minutes of a task; `expected` is what such a task takes.

    Too few are as doubtful as too many. Raises ValueError for minutes that are not above 0; ask
    `hardly_measured` first. Raises ZeroDivisionError where such work always takes the same, to the
    minute, which no history says.
    """
    if minutes <= 0:
        raise ValueError("Minutes must be above 0 to be held against what such work takes.")
    if abs(minutes - round(expected.quantile(0.5))) < LEAST_MINUTES:
        return False
    return abs(expected.z_of(minutes)) > DOUBTFUL_Z
