"""Where cars wait, over HTTP."""
