"""All that is true of a car: orders, stages, tasks, findings, paint, curing, minutes, flow."""
