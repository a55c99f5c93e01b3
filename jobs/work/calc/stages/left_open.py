"""What is still open when a car is called ready or handed over, so that nobody does it unawares."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class LeftOpen:
    """What somebody has to confirm: tasks not finished of all, and what was not done on leaving.

    `not_cleared`: a finding keeps the car off the road, the dealer knows, and it is not repaired.
    """

    tasks_open: int = 0
    tasks: int = 0
    not_walked_round: bool = False
    not_cleared: bool = False

    def __bool__(self) -> bool:
        """Return whether anything is open."""
        return bool(self.tasks_open or self.not_walked_round or self.not_cleared)

    def lines(self) -> list[dict[str, str]]:
        """Return what is open, what can hurt somebody first: a stable code and a sentence each."""
        lines = []
        if self.not_cleared:
            text = "This car must not be driven: what was found is not repaired."
            lines.append({"code": "do_not_drive", "text": text})
        if self.tasks_open:
            text = tasks_open_words(self.tasks_open, self.tasks)
            lines.append({"code": "tasks_open", "text": text})
        if self.not_walked_round:
            text = "The walk-round on leaving is not recorded."
            lines.append({"code": "leaving_not_recorded", "text": text})
        return lines

    def noted(self) -> dict[str, object]:
        """Return what the history keeps of it: nothing where nothing was open."""
        if not self:
            return {}
        codes = [line["code"] for line in self.lines()]
        return {"confirmed": codes, "tasks_open": self.tasks_open, "tasks": self.tasks}


def tasks_open_words(left: int, of: int) -> str:
    """Return how many tasks are open, in a sentence."""
    verb = "is" if left == 1 else "are"
    return f"{left} of {of} task{'' if of == 1 else 's'} {verb} open."
