"""Jobs as callers may see them."""
