"""Charts as plain dicts: they draw a result and compute nothing."""
