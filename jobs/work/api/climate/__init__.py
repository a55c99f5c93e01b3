"""The air over HTTP: readings, the forecast, what a workshop chose."""
