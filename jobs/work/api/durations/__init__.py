"""How long work takes over HTTP, how dirty a car came in, and minutes in doubt."""
