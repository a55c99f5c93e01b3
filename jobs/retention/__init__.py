"""What is kept how long, what goes then, and how somebody's data are handed out or erased."""
