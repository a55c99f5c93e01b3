"""The stage machine, what comes next, and what is still open."""
