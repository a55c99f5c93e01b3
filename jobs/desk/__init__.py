"""The workshop's desk: every car, the air, minutes, flow, and what the workshop sets up."""
