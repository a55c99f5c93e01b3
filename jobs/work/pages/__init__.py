"""Pages for people: rendered here, without a script."""
