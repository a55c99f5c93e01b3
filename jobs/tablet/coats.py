"""What cures: what speaks against putting it on now, and which product went on."""

from collections.abc import Sequence
from dataclasses import dataclass

from jobs.tablet.selectors.car import TabletCar
from jobs.work.models import Product, Task
from jobs.work.selectors.curing.waits import cautions_before, is_coating


@dataclass(frozen=True, slots=True)
class Coating:
    """What a task that leaves something to cure needs: a word before it, and products after it.

    `unmeasured`: nobody has measured the air lately, so nothing is known to speak against it.
    """

    cautions: Sequence[str] = ()
    unmeasured: bool = False
    products: Sequence[Product] = ()
    used: Sequence[str] = ()


def coating_of(task: Task, car: TabletCar) -> Coating:
    """Return it for one task; of a task that leaves nothing to cure there is nothing."""
    if not is_coating(task, car.catalogue):
        return Coating()
    begun = task.state in {Task.State.STARTED, Task.State.FINISHED}
    fitting = [product for product in car.products if product.operation in {"", task.operation}]
    cautions, unmeasured = _before(task, car)
    return Coating(
        cautions=cautions,
        unmeasured=unmeasured,
        products=fitting if begun else (),
        used=[
            clock.use.name
            for clock in car.facts.clocks
            if clock.task_id == task.pk and hasattr(clock, "use")
        ],
    )


def _before(task: Task, car: TabletCar) -> tuple[Sequence[str], bool]:
    """Return what speaks against work that is left, and whether nobody measured the air."""
    if task.state == Task.State.FINISHED:
        return (), False
    if car.air is None:
        return (), True
    texts = [caution.text for caution in cautions_before(task, car.products, car.air)]
    return texts, unmeasured(car)


def unmeasured(car: TabletCar) -> bool:
    """Return whether nobody has measured the air lately; what a stuck sensor says is no measure."""
    return car.air is None or car.air.is_stuck
