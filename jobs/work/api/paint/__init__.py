"""The paint survey over HTTP."""
