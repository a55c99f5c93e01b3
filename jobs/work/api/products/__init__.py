"""A workshop's products over HTTP, and that one was applied."""
