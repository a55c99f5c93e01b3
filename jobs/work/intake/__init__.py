"""From what was sent to what is answered, for whoever sends it: API, page, file or task."""
