"""The delivery engine: claims what is due, hands it over, and records what came of it."""
