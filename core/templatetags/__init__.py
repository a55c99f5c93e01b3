"""Tags that every page may use."""
