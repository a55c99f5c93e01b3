"""What beat asks for from time to time; each app adds its own as it loads.

Beat sets Django up before it reads `SCHEDULE`, so that every app has spoken by then.
"""

from typing import Any

SCHEDULE: dict[str, dict[str, Any]] = {}


def register_periodic(
    name: str, task: str, *, seconds: float, worthless_after: float | None = None, **kwargs: Any
) -> None:
    """Run the task with these arguments once every so many seconds.

    What no worker took within `worthless_after` seconds is dropped: the next run does the same.
    A name can be taken once only; raises ValueError for the second.
    """
    entry: dict[str, Any] = {"task": task, "schedule": seconds}
    if kwargs:
        entry["kwargs"] = kwargs
    if worthless_after is not None:
        entry["options"] = {"expires": worthless_after}
    if SCHEDULE.get(name, entry) != entry:
        raise ValueError(f"Two periodic tasks are called {name}.")
    SCHEDULE[name] = entry
