"""Pages about people: signing in, and the base of every page that knows who is looking."""
