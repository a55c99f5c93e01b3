"""Sharing out an agreed time among the operations it is for."""

from collections.abc import Sequence


def share_minutes(total_minutes: int, weights: Sequence[int]) -> list[int]:
    """Return whole minutes for each weight, in proportion, which together are the total.

    The largest remainder method (Hamilton's, of seats in a parliament): each gets its part rounded
    down, and the minutes left over go to the largest fractions, the earlier one first among equals.
    Whose part would be less than a minute gets one, and the others share what then is left. So the
    total must be at least the number of weights; weights are positive. Raises ValueError.
    """
    if total_minutes < len(weights) or any(weight <= 0 for weight in weights):
        raise ValueError("There must be a minute for each, and every weight must be positive.")
    shared = set(range(len(weights)))
    free = total_minutes
    while small := {nth for nth in shared if free * weights[nth] < _whole(weights, shared)}:
        shared -= small
        free -= len(small)
    shares = [1] * len(weights)
    whole = _whole(weights, shared)
    for nth in shared:
        shares[nth] = free * weights[nth] // whole
    by_fraction = sorted(shared, key=lambda nth: (-(free * weights[nth] % whole), nth))
    for nth in by_fraction[: total_minutes - sum(shares)]:
        shares[nth] += 1
    return shares


def _whole(weights: Sequence[int], among: set[int]) -> int:
    return sum(weights[nth] for nth in among)
