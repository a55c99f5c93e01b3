"""What is stored about a job."""

from jobs.models.history import HistoryEntry
from jobs.models.job import Job
from jobs.models.work import Hold, Spell, Task, WaitClock

__all__ = ["HistoryEntry", "Hold", "Job", "Spell", "Task", "WaitClock"]
