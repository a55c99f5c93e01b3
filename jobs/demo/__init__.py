"""A working day played against the running service; a client only: HTTP and commands."""
