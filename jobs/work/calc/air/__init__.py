"""The air: readings as a course over time, forecasts, and what follows from them."""
