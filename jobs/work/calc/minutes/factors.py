"""What a car's size and dirt do to the minutes of an operation, before anybody has measured.

Our own table, invented but plausible: no source. It is only where a workshop begins; its own
finished work moves every figure (calc/minutes/durations.py). Standard minutes are meant for a
medium car with everyday dirt.
"""

from types import MappingProxyType

from jobs.work.calc.minutes.soiling import LEVELS
from jobs.work.calc.stages.machine import Stage

SIZE_FACTORS = MappingProxyType(
    {"small": 0.85, "medium": 1.0, "large": 1.2, "small_van": 1.1, "large_van": 1.5}
)
SOILING_FACTORS = MappingProxyType(
    dict(zip(LEVELS, (0.8, 1.0, 1.25, 1.6, 2.1), strict=True)),
)
# How much of that an operation feels, on the scale of logarithms, by its stage: a walk-round of a
# large van takes little longer than one of a small car, and dirt is mostly gone before the polish.
SIZE_SHARE = MappingProxyType(
    {Stage.INTAKE: 0.3, Stage.CLEANING: 1.0, Stage.CORRECTION: 1.0, Stage.CURING: 0.3}
)
SOILING_SHARE = MappingProxyType(
    {Stage.INTAKE: 0.3, Stage.CLEANING: 1.0, Stage.CORRECTION: 0.2, Stage.CURING: 0.2}
)
