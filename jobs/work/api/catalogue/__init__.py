"""A workshop's operations and packages over HTTP."""
