"""Sharing out an agreed time among the operations it is for."""

from collections.abc import Sequence


def share_minutes(total_minutes: int, weights: Sequence[int]) -> list[int]:
    """Return whole minutes for each weight, in proportion, which together are the total.

    The largest remainder method: each gets its share rounded down, and the minutes left over go
    to the largest fractions, the earlier one first among equals. Nobody gets less than a minute,
    so the total must be at least the number of weights; weights are positive. Raises ValueError.
    """
    if total_minutes < len(weights) or any(weight <= 0 for weight in weights):
        raise ValueError("There must be a minute for each, and every weight must be positive.")
    if not weights:
        return []
    free = total_minutes - len(weights)
    whole = sum(weights)
    shares = [1 + free * weight // whole for weight in weights]
    by_fraction = sorted(
        range(len(weights)), key=lambda index: (-(free * weights[index] % whole), index)
    )
    for index in by_fraction[: total_minutes - sum(shares)]:
        shares[index] += 1
    return shares
