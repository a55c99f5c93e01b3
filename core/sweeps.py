"""How a periodic task says that it ran."""

from core.clock import now
from core.models import Sweep


def note_sweep(name: str) -> None:
    """Write down that a worker took the sweep: beat, broker and worker all live."""
    Sweep.objects.update_or_create(name=name, defaults={"last_run_at": now()})
