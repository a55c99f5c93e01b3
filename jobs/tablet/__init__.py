"""The tablet in the workshop: the board, a car, findings, paint, air; works without a network."""
