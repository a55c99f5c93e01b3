"""When what cures or dries is done, and when the car may stand outside."""
