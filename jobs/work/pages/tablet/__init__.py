"""The tablet in the wash bay."""
